using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
using CameraBridge.Dicom.Bitstreams;
using SkiaSharp;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>A camera file opened for looking at: its luminance, in full or smaller, decoded strip by strip so that no colour picture is ever held.</summary>
internal sealed class PictureDecoder : IDisposable
{
    /// <summary>Larger pictures are not looked at: no clinical camera makes them, and their luminance alone would take this many bytes.</summary>
    public const long MostPixels = 120_000_000;

    private const int StripRows = 32;

    private readonly SKCodec codec;

    private readonly SKData data;

    private PictureDecoder(SKCodec codec, SKData data)
    {
        this.codec = codec;
        this.data = data;
    }

    public int Width => codec.Info.Width;

    public int Height => codec.Info.Height;

    /// <summary>False when the last decoding met the end of the file, or bytes that do not decode, before the last row.</summary>
    public bool IsWhole { get; private set; } = true;

    /// <summary>Opens a file that lies in memory, and has to for as long as it is open.</summary>
    /// <param name="data">The file.</param>
    /// <returns>Null when it is no picture that can be decoded, or one beyond the size limit.</returns>
    public static PictureDecoder? Open(SKData data)
    {
        SKCodec? codec = SKCodec.Create(data);
        if (codec is null)
        {
            return null;
        }

        if (codec.Info.Width > 0 && codec.Info.Height > 0 && (long)codec.Info.Width * codec.Info.Height <= MostPixels)
        {
            return new PictureDecoder(codec, data);
        }

        codec.Dispose();
        return null;
    }

    /// <summary>The luminance, reduced while decoding (which costs less the smaller it is) to the smallest size of at least so many pixels on the long side.</summary>
    /// <returns>Null when nothing could be decoded.</returns>
    public GreyPicture? Decode(int leastLongSide)
    {
        SKSizeI size = ReducedSize(leastLongSide);
        var info = new SKImageInfo(size.Width, size.Height, SKColorType.Rgba8888, SKAlphaType.Opaque);
        byte[] grey = GC.AllocateUninitializedArray<byte>(size.Width * size.Height);
        if (codec.EncodedFormat == SKEncodedImageFormat.Jpeg && IsDecodedAsCamerasWrite(size, grey))
        {
            IsWhole = true;
            return new GreyPicture(grey, size.Width, size.Height);
        }

        using var strip = new SKBitmap(info.WithSize(size.Width, Math.Min(StripRows, size.Height)));
        IsWhole = true;
        if (codec.StartScanlineDecode(info) != SKCodecResult.Success)
        {
            return DecodeAtOnce(info, grey);
        }

        for (int row = 0; row < size.Height; row += StripRows)
        {
            int wanted = Math.Min(StripRows, size.Height - row);
            int got = codec.GetScanlines(strip.GetPixels(), wanted, strip.RowBytes);
            Luminance(strip.GetPixelSpan(), strip.RowBytes, size.Width, Math.Max(got, 0), grey.AsSpan(row * size.Width));
            if (got < wanted)
            {
                IsWhole = false;
                int missing = (row + Math.Max(got, 0)) * size.Width;
                grey.AsSpan(missing).Clear();
                break;
            }
        }

        return new GreyPicture(grey, size.Width, size.Height);
    }

    public void Dispose() => codec.Dispose();

    /// <summary>JPEG as cameras write it; what else there is, and what is torn, is left to the library, which decodes in colour and as far as it comes.</summary>
    private bool IsDecodedAsCamerasWrite(SKSizeI size, byte[] grey)
    {
        using Stream file = data.AsStream();
        return JpegLuminance.TryDecode(file, size.Width, size.Height, grey);
    }

    /// <summary>For formats and modes (progressive among them) that do not decode row by row.</summary>
    private GreyPicture? DecodeAtOnce(SKImageInfo info, byte[] grey)
    {
        using var bitmap = new SKBitmap(info);
        SKCodecResult result = codec.GetPixels(info, bitmap.GetPixels());
        IsWhole = result == SKCodecResult.Success;
        if (result is not (SKCodecResult.Success or SKCodecResult.IncompleteInput or SKCodecResult.ErrorInInput))
        {
            return null;
        }

        Luminance(bitmap.GetPixelSpan(), bitmap.RowBytes, info.Width, info.Height, grey);
        return new GreyPicture(grey, info.Width, info.Height);
    }

    private SKSizeI ReducedSize(int leastLongSide)
    {
        // Halvings only: of what lies between the library makes slow work, and JpegLuminance nothing.
        int longSide = Math.Max(Width, Height);
        for (int eighths = 1; eighths < 8; eighths *= 2)
        {
            SKSizeI size = codec.GetScaledDimensions(eighths / 8f);
            if (Math.Max(size.Width, size.Height) >= leastLongSide && Math.Max(size.Width, size.Height) < longSide)
            {
                return size;
            }
        }

        return new SKSizeI(Width, Height);
    }

    /// <summary>Y of ITU-R BT.601 in 8-bit weights.</summary>
    private static void Luminance(ReadOnlySpan<byte> rgba, int rowBytes, int width, int rows, Span<byte> grey)
    {
        for (int y = 0; y < rows; y++)
        {
            ReadOnlySpan<byte> row = rgba.Slice(y * rowBytes, width * 4);
            Span<byte> target = grey.Slice(y * width, width);
            ReadOnlySpan<uint> pixels = MemoryMarshal.Cast<byte, uint>(row);
            int x = 0;
            for (; x <= target.Length - 8; x += 8)
            {
                Vector256<uint> eight = Vector256.Create(pixels[x..]);
                Vector256<uint> sum = (((eight & Vector256.Create(0xFFu)) * 77) + (((eight >> 8) & Vector256.Create(0xFFu)) * 150) + (((eight >> 16) & Vector256.Create(0xFFu)) * 29)) >> 8;
                Vector128<ushort> words = Vector128.Narrow(sum.GetLower(), sum.GetUpper());
                Vector128.Narrow(words, words).GetLower().CopyTo(target[x..]);
            }

            for (int at = x * 4; x < target.Length; x++, at += 4)
            {
                target[x] = (byte)(((77 * row[at]) + (150 * row[at + 1]) + (29 * row[at + 2])) >> 8);
            }
        }
    }
}
