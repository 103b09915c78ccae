using System.Globalization;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Decodes the scans of one file into its coefficients (ITU-T T.81 Annexes F.2 and G.2), in the order of the file, once.</summary>
internal sealed unsafe partial class JpegCoefficientReader(JpegHeader header, JpegCoefficients target, JpegInput input, CancellationToken cancellation)
{
    /// <summary>Programs write about ten, the most careful ones some dozens; more is meant to keep a reader busy.</summary>
    private const int MaximumScans = 256;

    private readonly JpegTables tables = new();
    private readonly JpegBits bits = new(input);

    private bool IsProgressive => header.FrameMarker == 0xC2;

    /// <summary>Reads all; null when every coefficient is there.</summary>
    public JpegRefusal? Read()
    {
        int scans = 0;
        foreach (JpegSegment segment in header.Segments)
        {
            if (segment.IsApplicationData || segment.Marker is 0xD8 or 0xD9 or 0xC0 or 0xC1 or 0xC2)
            {
                continue;
            }

            if (segment.Marker is 0xDC or 0xDE or 0xDF)
            {
                return Malformed("The picture has a marker segment that belongs to another process (DNL, DHP or EXP).");
            }

            if (segment.Marker == 0xDA && ++scans > MaximumScans)
            {
                return Malformed($"The picture has more than {MaximumScans} scans.");
            }

            if ((input.SkipTo(segment.Offset) && input.TakeSegment() is { } body ? ReadSegment(segment.Marker, body) : Torn("The file ends within a marker segment.")) is { } refusal)
            {
                return refusal;
            }
        }

        return JudgeWhole();
    }

    private JpegRefusal? ReadSegment(byte marker, byte[] body) =>
        marker == 0xDA ? ReadScan(body) : tables.Read(marker, body) is { } fault ? Malformed(fault) : null;

    /// <summary>The scan header (section B.2.3), its agreement with what came before (section G.1.1.1), and its blocks.</summary>
    private JpegRefusal? ReadScan(ReadOnlySpan<byte> body)
    {
        int count = body.Length > 0 ? body[0] : 0;
        if (count is < 1 or > 4 || count > target.Planes.Length || body.Length < 4 + (count * 2))
        {
            return Malformed("A scan header does not fit the frame.");
        }

        var scan = new JpegScan(
            IsProgressive ? body[1 + (count * 2)] : 0, IsProgressive ? body[2 + (count * 2)] : 63,
            IsProgressive ? body[3 + (count * 2)] >> 4 : 0, IsProgressive ? body[3 + (count * 2)] & 15 : 0);
        if (IsProgressive && !scan.IsPossible(count))
        {
            return Malformed("A progressive scan names a spectral range or a bit position that there cannot be.");
        }

        var parts = new ScanPart[count];
        for (int i = 0; i < count; i++)
        {
            byte id = body[1 + (i * 2)];
            int numbers = body[2 + (i * 2)];
            if (Array.Find(target.Planes, plane => plane.Id == id) is not { } plane || Array.Exists(parts, part => part?.Plane == plane) || numbers >> 4 > 3 || (numbers & 15) > 3)
            {
                return Malformed("A scan asks for a component or a table that there cannot be, or for a component twice.");
            }

            parts[i] = new ScanPart(plane, tables.Dc[numbers >> 4], tables.Ac[numbers & 15]);
            if (!parts[i].HasTablesFor(scan) || !LatchQuantization(plane))
            {
                return Malformed("A scan asks for a Huffman table or a quantization table that the file does not hold.");
            }

            if (!scan.Advance(plane.MissingBits))
            {
                return Malformed("The scans do not follow each other as spectral selection and successive approximation must.");
            }
        }

        return DecodeScan(parts, scan) switch
        {
            ScanEnd.Short => Torn("The picture's data end before its last block."),
            ScanEnd.Damaged => new JpegRefusal(JpegObstacle.Damaged, "The picture's data cannot be decoded with its own tables."),
            _ => null,
        };
    }

    /// <summary>The table as it stands at the component's first scan; another one under the same number later is for others.</summary>
    private bool LatchQuantization(JpegPlane plane)
    {
        if (plane.Quantization.Length == 0 && tables.Quantization[plane.Table] is { } steps)
        {
            plane.Quantization = steps;
        }

        return plane.Quantization.Length != 0;
    }

    private ScanEnd DecodeScan(ScanPart[] parts, JpegScan scan)
    {
        bits.Clear();
        bool alone = parts.Length == 1;
        JpegPlane first = parts[0].Plane;
        int columns = alone ? first.Width : first.Stride / first.CodedHorizontal;
        int rows = alone ? first.Height : first.Lines / first.CodedVertical;
        int untilRestart = tables.RestartInterval;
        int nextRestart = 0;
        endOfBandRun = 0;
        for (int row = 0; row < rows; row++)
        {
            cancellation.ThrowIfCancellationRequested();
            for (int column = 0; column < columns; column++)
            {
                if (tables.RestartInterval != 0 && untilRestart-- == 0)
                {
                    if (endOfBandRun > 0)
                    {
                        return ScanEnd.Damaged;
                    }

                    if (bits.TakeRestart(nextRestart) is { } early)
                    {
                        return early;
                    }

                    nextRestart = (nextRestart + 1) & 7;
                    untilRestart = tables.RestartInterval - 1;
                    foreach (ScanPart part in parts)
                    {
                        part.Predictor = 0;
                    }
                }

                if (DecodeMcu(parts, scan, alone, column, row) is var end and not ScanEnd.Whole)
                {
                    return end;
                }
            }
        }

        // An end of band that is announced to reach beyond the last block says the same as data that are left over.
        return endOfBandRun > 0 ? ScanEnd.Damaged : bits.EndInterval();
    }

    private ScanEnd DecodeMcu(ScanPart[] parts, JpegScan scan, bool alone, int column, int row)
    {
        if (alone)
        {
            return DecodeBlock(parts[0], scan, parts[0].Plane.Block(column, row));
        }

        foreach (ScanPart part in parts)
        {
            JpegPlane plane = part.Plane;
            for (int y = 0; y < plane.CodedVertical; y++)
            {
                short* block = plane.Block(column * plane.CodedHorizontal, (row * plane.CodedVertical) + y);
                for (int x = 0; x < plane.CodedHorizontal; x++, block += 64)
                {
                    if (DecodeBlock(part, scan, block) is var end and not ScanEnd.Whole)
                    {
                        return end;
                    }
                }
            }
        }

        return ScanEnd.Whole;
    }

    private ScanEnd DecodeBlock(ScanPart part, JpegScan scan, short* block) =>
        !IsProgressive ? DecodeSequential(part, block)
        : scan.First == 0 ? (scan.High == 0 ? DecodeDcFirst(part, scan, block) : RefineDc(scan, block))
        : scan.High == 0 ? DecodeAcFirst(part, scan, block) : RefineAc(part, scan, block);

    /// <summary>A file that was cut between two scans, and closed again, lacks the finer bits of its coefficients.</summary>
    private JpegRefusal? JudgeWhole()
    {
        foreach (JpegPlane plane in target.Planes)
        {
            int missing = plane.MissingBits.Count(bits => bits != 0);
            if (missing > 0)
            {
                return Torn(string.Create(CultureInfo.InvariantCulture, $"The picture's scans do not bring {missing} of the 64 coefficients of a component in full."));
            }
        }

        return null;
    }

    private static JpegRefusal Malformed(string text) => new(JpegObstacle.Malformed, text);

    private static JpegRefusal Torn(string text) => new(JpegObstacle.Torn, text);

    /// <summary>A component in a scan.</summary>
    private sealed class ScanPart(JpegPlane plane, JpegDecodingTable? dc, JpegDecodingTable? ac)
    {
        public JpegPlane Plane { get; } = plane;

        public JpegDecodingTable Dc => dc!;

        public JpegDecodingTable Ac => ac!;

        /// <summary>DC value of the block before.</summary>
        public int Predictor { get; set; }

        /// <summary>A scan of DC values needs no AC table, a refinement of them none at all.</summary>
        public bool HasTablesFor(JpegScan scan) =>
            (scan.First > 0 || scan.High > 0 || dc is not null) && (scan.Last == 0 || ac is not null);
    }
}

/// <summary>The band and the bits that a scan brings (ITU-T T.81 section B.2.3: Ss, Se, Ah, Al).</summary>
internal readonly record struct JpegScan(int First, int Last, int High, int Low)
{
    /// <summary>A scan of DC values has no AC ones; a scan of AC values has one component; a refinement brings one bit (section G.1.1.1).</summary>
    public bool IsPossible(int components) =>
        (First == 0 ? Last == 0 : Last >= First && Last <= 63 && components == 1) && Low <= 13 && (High == 0 || High == Low + 1);

    /// <summary>Notes what the scan brings; false when it does not follow what came before.</summary>
    public bool Advance(sbyte[] missingBits)
    {
        for (int k = First; k <= Last; k++)
        {
            if (missingBits[k] != (High == 0 ? -1 : High))
            {
                return false;
            }

            missingBits[k] = (sbyte)Low;
        }

        return true;
    }
}
