using System.Runtime.InteropServices;
using CameraBridge.Dicom.Bitstreams;
using SkiaSharp;

namespace CameraBridge.Pipeline.Objects.Stills;

/// <summary>
/// A picture decoded by Skia without any conversion of its colours, turned upright, and written as samples or as a new JPEG. Row by row where the format
/// and the orientation allow it, so that the size of the picture takes no memory.
/// </summary>
internal sealed class StillPixels : IDisposable
{
    /// <summary>
    /// For all that a picture takes in memory at once, in bytes a pixel: 4 decoded, 4 more where its format is decoded at once, 6 that the decoder of a progressive JPEG
    /// keeps, 6 that an encoder keeps which makes its Huffman tables for the picture. So 25 megapixels may be turned, and 10 compressed again.
    /// </summary>
    public const long MaximumBytes = 96L << 20;

    /// <summary>
    /// Quality of a second compression, whose loss must be small beside that of the camera's. Measured on a noisy photograph of quality 80: samples differ by 1.0 in the mean (at
    /// quality 95 by 2.1), in three times the camera's bytes.
    /// </summary>
    public const int JpegQuality = 98;

    private const int StripRows = 32;

    private readonly SKCodec codec;
    private readonly JpegOrientation orientation;
    private readonly SKImageInfo info;

    private readonly bool isProgressive;

    private StillPixels(SKCodec codec, JpegOrientation orientation, bool isProgressive)
    {
        this.codec = codec;
        this.orientation = orientation;
        this.isProgressive = isProgressive;
        IsGrey = codec.Info.ColorType == SKColorType.Gray8;
        // No colour space asked for: the samples come as they are. Alpha apart from the colours, so that it can be seen whether there is any.
        info = new SKImageInfo(codec.Info.Width, codec.Info.Height, IsGrey ? SKColorType.Gray8 : SKColorType.Rgba8888, IsGrey ? SKAlphaType.Opaque : SKAlphaType.Unpremul);
    }

    /// <summary>One sample a pixel instead of three.</summary>
    public bool IsGrey { get; }

    public int Columns => orientation.Transposes ? info.Height : info.Width;

    public int Rows => orientation.Transposes ? info.Width : info.Height;

    /// <summary>Bytes of all samples.</summary>
    public long SampleBytes => Pixels * (IsGrey ? 1 : 3);

    /// <summary>Whether it is small enough to be compressed again.</summary>
    public bool FitsCompression => Pixels * (PixelBytes + DecoderBytes + CoefficientBytes) <= MaximumBytes;

    private long Pixels => (long)info.Width * info.Height;

    private int PixelBytes => IsGrey ? 1 : 4;

    /// <summary>Two bytes a sample, colours not sampled less finely.</summary>
    private int CoefficientBytes => IsGrey ? 2 : 6;

    private int DecoderBytes => isProgressive ? CoefficientBytes : codec.EncodedFormat == SKEncodedImageFormat.Webp ? 4 : 0;

    /// <summary>Opens a file.</summary>
    /// <param name="path">The file.</param>
    /// <param name="orientation">How it becomes upright.</param>
    /// <param name="isProgressive">It is a progressive JPEG.</param>
    /// <returns>Null when Skia does not know it.</returns>
    public static StillPixels? Open(string path, JpegOrientation orientation, bool isProgressive = false)
    {
        SKCodec? codec = SKCodec.Create(path);
        return codec is null ? null : new StillPixels(codec, orientation, isProgressive);
    }

    /// <summary>Writes the samples of all pixels, R G B R G B or grey, row after row (Planar Configuration 0).</summary>
    /// <returns>Null, or why what was written is to be thrown away.</returns>
    public Reason? WriteSamples(Stream target)
    {
        var writer = new SampleWriter(target, IsGrey);
        if (!orientation.IsUpright)
        {
            using SKBitmap? turned = Turn(out Reason? reason);
            return turned is null ? reason : writer.Write(turned.GetPixelSpan(), turned.RowBytes, Columns, Rows);
        }

        return Decode((rows, rowBytes, _, count) => writer.Write(rows, rowBytes, info.Width, count));
    }

    /// <summary>Compresses the picture again, without leaving out any colour samples (4:4:4), as a JPEG file of quality <see cref="JpegQuality"/>.</summary>
    /// <returns>Null, or why what was written is to be thrown away.</returns>
    public Reason? WriteJpeg(Stream target)
    {
        using SKBitmap? turned = Turn(out Reason? reason);
        if (turned is null)
        {
            return reason;
        }

        using SKPixmap pixels = turned.PeekPixels();
        return pixels.Encode(target, new SKJpegEncoderOptions(JpegQuality, SKJpegEncoderDownsample.Downsample444, SKJpegEncoderAlphaOption.Ignore))
            ? null
            : StillReasons.Undecodable(StillFormat.Jpeg);
    }

    public void Dispose() => codec.Dispose();

    /// <summary>The whole picture upright in memory, or why not.</summary>
    private SKBitmap? Turn(out Reason? reason)
    {
        if (Pixels * ((PixelBytes * (DecodesByRows() ? 1 : 2)) + DecoderBytes) > MaximumBytes)
        {
            reason = StillReasons.TooLarge(info.Width, info.Height, MaximumBytes);
            return null;
        }

        var turned = new SKBitmap(info.WithSize(Columns, Rows));
        bool isTransparent = false;
        reason = Decode((rows, rowBytes, first, count) =>
        {
            isTransparent |= !Place(rows, rowBytes, first, count, turned);
            return null;
        });
        reason ??= isTransparent ? StillReasons.Transparent : null;
        if (reason is null)
        {
            return turned;
        }

        turned.Dispose();
        return null;
    }

    /// <summary>Puts decoded rows where they belong; false when a pixel is not opaque.</summary>
    private bool Place(ReadOnlySpan<byte> rows, int rowBytes, int first, int count, SKBitmap turned)
    {
        // A step of one pixel to the right in the stored picture is a step of so many pixels in the upright one.
        int width = turned.RowBytes / PixelBytes;
        int across = orientation.Transposes ? (orientation.MirrorsRows ? -width : width) : orientation.MirrorsColumns ? -1 : 1;
        int down = orientation.Transposes ? (orientation.MirrorsColumns ? -1 : 1) : orientation.MirrorsRows ? -width : width;
        int origin = ((orientation.MirrorsRows ? Rows - 1 : 0) * width) + (orientation.MirrorsColumns ? Columns - 1 : 0);
        Span<byte> target = MutablePixels(turned);
        bool isOpaque = true;
        for (int y = 0; y < count; y++)
        {
            int at = origin + ((first + y) * down);
            if (IsGrey)
            {
                foreach (byte sample in rows.Slice(y * rowBytes, info.Width))
                {
                    target[at] = sample;
                    at += across;
                }

                continue;
            }

            Span<uint> pixels = MemoryMarshal.Cast<byte, uint>(target);
            foreach (uint pixel in MemoryMarshal.Cast<byte, uint>(rows.Slice(y * rowBytes, info.Width * 4)))
            {
                pixels[at] = pixel;
                isOpaque &= pixel >> 24 == 0xFF;
                at += across;
            }
        }

        return isOpaque;
    }

    private static unsafe Span<byte> MutablePixels(SKBitmap bitmap) => new((void*)bitmap.GetPixels(), bitmap.ByteCount);

    private bool DecodesByRows() => codec.StartScanlineDecode(info) == SKCodecResult.Success && codec.ScanlineOrder == SKCodecScanlineOrder.TopDown;

    /// <summary>Decodes from top to bottom, strip by strip or at once.</summary>
    private Reason? Decode(RowTaker take)
    {
        StillFormat format = codec.EncodedFormat switch
        {
            SKEncodedImageFormat.Jpeg => StillFormat.Jpeg,
            SKEncodedImageFormat.Png => StillFormat.Png,
            SKEncodedImageFormat.Bmp => StillFormat.Bmp,
            SKEncodedImageFormat.Webp => StillFormat.WebP,
            _ => StillFormat.Unknown,
        };
        if (Pixels * ((DecodesByRows() ? 0 : PixelBytes) + DecoderBytes) > MaximumBytes)
        {
            return StillReasons.TooLarge(info.Width, info.Height, MaximumBytes);
        }

        if (!DecodesByRows())
        {
            return DecodeAtOnce(take, format);
        }

        using var strip = new SKBitmap(info.WithSize(info.Width, Math.Min(StripRows, info.Height)));
        for (int row = 0; row < info.Height; row += StripRows)
        {
            int wanted = Math.Min(StripRows, info.Height - row);
            if (codec.GetScanlines(strip.GetPixels(), wanted, strip.RowBytes) < wanted)
            {
                return StillReasons.Undecodable(format);
            }

            if (take(strip.GetPixelSpan(), strip.RowBytes, row, wanted) is { } reason)
            {
                return reason;
            }
        }

        return null;
    }

    private Reason? DecodeAtOnce(RowTaker take, StillFormat format)
    {
        using var whole = new SKBitmap(info);
        return codec.GetPixels(info, whole.GetPixels()) == SKCodecResult.Success
            ? take(whole.GetPixelSpan(), whole.RowBytes, 0, info.Height)
            : StillReasons.Undecodable(format);
    }

    private delegate Reason? RowTaker(ReadOnlySpan<byte> rows, int rowBytes, int first, int count);

    /// <summary>Writes rows without alpha and without filling.</summary>
    private sealed class SampleWriter(Stream target, bool isGrey)
    {
        private byte[] packed = [];

        public Reason? Write(ReadOnlySpan<byte> rows, int rowBytes, int width, int count)
        {
            int length = width * (isGrey ? 1 : 3);
            packed = packed.Length < length ? new byte[length] : packed;
            for (int y = 0; y < count; y++)
            {
                if (isGrey)
                {
                    target.Write(rows.Slice(y * rowBytes, width));
                    continue;
                }

                if (!Pack(rows.Slice(y * rowBytes, width * 4), packed))
                {
                    return StillReasons.Transparent;
                }

                target.Write(packed, 0, length);
            }

            return null;
        }

        private static bool Pack(ReadOnlySpan<byte> rgba, Span<byte> rgb)
        {
            byte opaque = 0xFF;
            for (int from = 0, to = 0; from <= rgba.Length - 4; from += 4, to += 3)
            {
                rgb[to] = rgba[from];
                rgb[to + 1] = rgba[from + 1];
                rgb[to + 2] = rgba[from + 2];
                opaque &= rgba[from + 3];
            }

            return opaque == 0xFF;
        }
    }
}
