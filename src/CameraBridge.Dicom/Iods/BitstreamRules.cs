using System.Buffers.Binary;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Iods;

/// <summary>
/// The bit stream of Pixel Data or Encapsulated Document against the attributes that speak of it. Reads pixels, so it is no part of
/// <see cref="IodCheck"/>: the flow has judged the bit stream before it made attributes of it.
/// </summary>
internal static class BitstreamRules
{
    /// <summary>Largest still bit stream that is looked into, in bytes; a larger one is told as a note.</summary>
    private const long LargestStill = 256L * 1024 * 1024;

    public static void Check(DataSet dataSet, TransferSyntax syntax, FindingList findings)
    {
        if (dataSet.TryFind(Tags.EncapsulatedDocument, out Element? document))
        {
            DocumentRules.Check(dataSet, document, findings);
        }

        if (!dataSet.TryFind(Tags.PixelData, out Element? pixels))
        {
            return;
        }

        try
        {
            if (pixels.Encapsulated is { } encapsulated)
            {
                CheckEncapsulated(dataSet, syntax, encapsulated, findings);
            }
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            findings.Add(Severity.Error, "pixels.unreadable", null, "PixelData", "PS3.10 7", $"the pixels cannot be read ({error.GetType().Name})", "a file that can be read to its end");
        }
    }

    /// <summary>
    /// Native pixels by their length alone: frames of Rows x Columns x Samples per Pixel cells, one byte of padding at most (PS3.5 sections 8.1.1, 8.2).
    /// Reads nothing, so that the flow has it too.
    /// </summary>
    public static void CheckNative(DataSet dataSet, FindingList findings)
    {
        if (!dataSet.TryFind(Tags.PixelData, out Element? pixels) || pixels.Encapsulated is not null || dataSet.GetInt32(Tags.Rows) is not { } rows || dataSet.GetInt32(Tags.Columns) is not { } columns
            || dataSet.GetInt32(Tags.SamplesPerPixel) is not { } samples || dataSet.GetInt32(Tags.BitsAllocated) is not { } bits)
        {
            return;
        }

        long frames = Math.Max(1, dataSet.GetInt32(Tags.NumberOfFrames) ?? 1);
        bool isHalved = ElementText.First(dataSet[Tags.PhotometricInterpretation]) == "YBR_FULL_422" && samples == 3;
        long right = ((isHalved ? (long)rows * columns * 2 : (long)rows * columns * samples) * bits * frames + 7) / 8;
        long found = pixels.Pixels?.Length ?? pixels.Value.Length;
        if (found != right + (right & 1))
        {
            findings.Add(
                Severity.Error, "pixels.length", null, "PixelData", "PS3.5 8.1.1", $"{found} bytes", $"{right + (right & 1)} bytes, {rows} x {columns} x {samples} of {bits} bits, {frames} frames");
        }
    }

    private static void CheckEncapsulated(DataSet dataSet, TransferSyntax syntax, EncapsulatedPixels pixels, FindingList findings)
    {
        CheckFragments(dataSet, pixels, findings);
        if (pixels.Fragments.Count == 0 || pixels.Fragments.All(fragment => fragment.Length == 0))
        {
            return;
        }

        if (ClipRules.IsVideo(syntax.Uid))
        {
            ClipRules.Check(dataSet, syntax.Uid, pixels, findings);
            return;
        }

        List<IReadOnlyList<PixelSource>>? frames = Frames(dataSet, pixels, findings);
        if (frames is null)
        {
            return;
        }

        for (int i = 0; i < frames.Count; i++)
        {
            PixelSource frame = frames[i].Count == 1 ? frames[i][0] : PixelSource.Concat(frames[i]);
            if (syntax.Uid is TransferSyntaxes.JPEGBaseline8Bit or TransferSyntaxes.JPEGExtended12Bit or TransferSyntaxes.JPEGLossless or TransferSyntaxes.JPEGLosslessSV1)
            {
                if (frame.Length > LargestStill)
                {
                    findings.Add(Severity.Note, "jpeg.size", null, "PixelData", "PS3.5 8.2.1", $"{frame.Length} bytes, which were not looked into", $"at most {LargestStill} to be looked into");
                    continue;
                }

                JpegRules.Check(dataSet, syntax.Uid, Bytes(frame), i + 1, frames.Count, findings);
            }
            else if (syntax.Uid == TransferSyntaxes.RLELossless)
            {
                CheckRunLengths(dataSet, frame, i + 1, findings);
            }
        }

        if (frames.Count > 0)
        {
            CheckRatio(dataSet, syntax.Uid, frames.Sum(frame => frame.Sum(fragment => fragment.Length)), findings);
        }
    }

    // PS3.5 section A.4: each fragment of even length; (7FE0,0003) is their sum without padding (PS3.3 C.7.6.6).
    private static void CheckFragments(DataSet dataSet, EncapsulatedPixels pixels, FindingList findings)
    {
        long sum = 0;
        foreach (PixelSource fragment in pixels.Fragments)
        {
            sum += fragment.Length;
            if ((fragment.Length & 1) != 0)
            {
                findings.Add(Severity.Error, "pixels.fragment", null, "PixelData", "PS3.5 A.4", "a fragment of odd length", "fragments of even length");
            }
        }

        if (dataSet.GetInt64(Tags.EncapsulatedPixelDataValueTotalLength) is { } told && (told > sum || told < sum - pixels.Fragments.Count))
        {
            findings.Add(
                Severity.Error, "pixels.total", null, "EncapsulatedPixelDataValueTotalLength", "PS3.3 C.7.6.6", $"{told} where the fragments have {sum} bytes",
                "the bytes of the bit stream without padding");
        }
    }

    /// <summary>The fragments of each frame (PS3.5 section A.4); null when they cannot be told apart.</summary>
    private static List<IReadOnlyList<PixelSource>>? Frames(DataSet dataSet, EncapsulatedPixels pixels, FindingList findings)
    {
        int frames = Math.Max(1, dataSet.GetInt32(Tags.NumberOfFrames) ?? 1);
        if (pixels.OffsetTable.Length > 0)
        {
            if (pixels.OffsetTable.Length != frames * 4L)
            {
                findings.Add(
                    Severity.Error, "pixels.offsets", null, "PixelData", "PS3.5 A.4", $"an offset table of {pixels.OffsetTable.Length} bytes", $"empty, or 4 bytes for each of {frames} frames");
                return null;
            }

            return ByOffsets(pixels, findings);
        }

        if (frames == 1)
        {
            return [pixels.Fragments];
        }

        if (pixels.Fragments.Count == frames)
        {
            return [.. pixels.Fragments.Select(fragment => (IReadOnlyList<PixelSource>)[fragment])];
        }

        if (pixels.Fragments.Count < frames)
        {
            findings.Add(Severity.Error, "pixels.frames", null, "NumberOfFrames", "PS3.5 A.4", $"{frames} frames in {pixels.Fragments.Count} fragments", "at least one fragment for each frame");
        }

        return null;
    }

    private static List<IReadOnlyList<PixelSource>>? ByOffsets(EncapsulatedPixels pixels, FindingList findings)
    {
        const int ItemHead = 8;
        var starts = new HashSet<uint>();
        for (int i = 0; i < pixels.OffsetTable.Length; i += 4)
        {
            starts.Add(BinaryPrimitives.ReadUInt32LittleEndian(pixels.OffsetTable.Span[i..]));
        }

        var frames = new List<IReadOnlyList<PixelSource>>();
        long at = 0;
        int met = 0;
        List<PixelSource>? current = null;
        foreach (PixelSource fragment in pixels.Fragments)
        {
            if (at <= uint.MaxValue && starts.Contains((uint)at))
            {
                met++;
                frames.Add(current = []);
            }

            current?.Add(fragment);
            at += ItemHead + fragment.Length + (fragment.Length & 1);
        }

        if (met == starts.Count && met * 4 == pixels.OffsetTable.Length && frames.Sum(frame => frame.Count) == pixels.Fragments.Count)
        {
            return frames;
        }

        findings.Add(Severity.Error, "pixels.offsets", null, "PixelData", "PS3.5 A.4", "offsets at which no fragment begins", "the offset of each frame's first fragment");
        return null;
    }

    // PS3.5 section G.5: a header of 16 numbers, the count of segments and where each begins, the first at 64.
    private static void CheckRunLengths(DataSet dataSet, PixelSource frame, int number, FindingList findings)
    {
        const int HeaderLength = 64;
        if (dataSet.GetInt32(Tags.SamplesPerPixel) is not { } samples || dataSet.GetInt32(Tags.BitsAllocated) is not { } bits)
        {
            return;
        }

        byte[] header = new byte[HeaderLength];
        using Stream stream = frame.OpenRead();
        int read = stream.ReadAtLeast(header, HeaderLength, throwOnEndOfStream: false);
        int right = samples * bits / 8;
        uint segments = BinaryPrimitives.ReadUInt32LittleEndian(header);
        if (read < HeaderLength || segments != right || BinaryPrimitives.ReadUInt32LittleEndian(header.AsSpan(4)) != HeaderLength)
        {
            findings.Add(Severity.Error, "rle.header", null, "PixelData", "PS3.5 G.5", $"frame {number} with {segments} segments", $"{right} segments, the first at byte {HeaderLength}");
        }
    }

    // PS3.3 section C.7.6.1.1.5: the last ratio is that of the bit stream in the object.
    private static void CheckRatio(DataSet dataSet, string TransferSyntaxUID, long bytes, FindingList findings)
    {
        if (!ImageRules.IsLossy(TransferSyntaxUID) || dataSet.GetDoubles(Tags.LossyImageCompressionRatio) is not [.., var told] || bytes <= 0
            || dataSet.GetInt32(Tags.Rows) is not { } rows || dataSet.GetInt32(Tags.Columns) is not { } columns
            || dataSet.GetInt32(Tags.SamplesPerPixel) is not { } samples || dataSet.GetInt32(Tags.BitsAllocated) is not { } bits)
        {
            return;
        }

        const double tolerance = 0.1;
        long frames = Math.Max(1, dataSet.GetInt32(Tags.NumberOfFrames) ?? 1);
        double right = (double)rows * columns * samples * (bits / 8) * frames / bytes;
        if (told <= 0 || told < right * (1 - tolerance) - 0.5 || told > right * (1 + tolerance) + 0.5)
        {
            findings.Add(Severity.Warning, "lossy.ratio", null, "LossyImageCompressionRatio", "PS3.3 C.7.6.1.1.5", FormattableString.Invariant($"{told}"), FormattableString.Invariant($"about {right:0.0}, uncompressed over compressed bytes"));
        }
    }

    private static byte[] Bytes(PixelSource source)
    {
        byte[] bytes = new byte[source.Length];
        using Stream stream = source.OpenRead();
        stream.ReadExactly(bytes);
        return bytes;
    }
}
