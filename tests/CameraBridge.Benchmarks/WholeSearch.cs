using CameraBridge.Pipeline.Sittings.Cues;
using SkiaSharp;
using ZXing;
using ZXing.Common;

namespace CameraBridge.Benchmarks;

/// <summary>Reading the whole picture with the library's own reader at three sizes and six angles: what a look without a screen costs and finds.</summary>
internal static class WholeSearch
{
    private static readonly double[] Angles = [0, 30, 60, -30, -60, 45, -45];

    private static readonly Dictionary<DecodeHintType, object> Hints = new()
    {
        [DecodeHintType.TRY_HARDER] = true,
        [DecodeHintType.POSSIBLE_FORMATS] = new[] { BarcodeFormat.QR_CODE, BarcodeFormat.DATA_MATRIX, BarcodeFormat.CODE_128 },
    };

    /// <summary>The text of the first code that is found, or null.</summary>
    public static string? Read(byte[] file)
    {
        using SKData data = SKData.CreateCopy(file);
        return Read(data);
    }

    /// <summary>The same from a file in memory.</summary>
    public static string? Read(SKData data)
    {
        using PictureDecoder? decoder = PictureDecoder.Open(data);
        if (decoder?.Decode(1280) is not { } picture)
        {
            return null;
        }

        GreyPicture half = picture.Halve();
        var reader = new MultiFormatReader();
        foreach (GreyPicture look in Angles.Select(angle => half.Rotate(angle)).Prepend(picture).Append(half.Halve()))
        {
            if (reader.decode(new BinaryBitmap(new HybridBinarizer(look)), Hints)?.Text is { Length: > 0 } text)
            {
                return text;
            }
        }

        return null;
    }
}
