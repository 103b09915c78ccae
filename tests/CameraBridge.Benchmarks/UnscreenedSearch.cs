using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using SkiaSharp;

namespace CameraBridge.Benchmarks;

/// <summary>
/// The program's own readers over the whole of the small, the halved and the fine picture, with ink of every reach and every field of bars: what they would find if no
/// screen told them where to look. Takes seconds in cloth and noise.
/// </summary>
internal sealed class UnscreenedSearch
{
    /// <summary>The ink's reach is the shorter side by these.</summary>
    private static readonly int[] Reaches = [6, 10, 24, 48];

    /// <summary>Those that the program has in the fine picture; the others find by luck what noise hides.</summary>
    private static readonly int[] FineReaches = [6, 48];

    private readonly SummedPicture _sums = new();

    private readonly QrSearch _qr = new();

    private readonly DataMatrixSearch _dataMatrix = new();

    private readonly BarSearch _bars = new();

    /// <summary>By which look a code that says so is found, and whether the program has that look too, where its screen tells it to; null where by none.</summary>
    public (string Look, bool IsOurs)? Finds(byte[] file, string text)
    {
        using SKData data = SKData.CreateCopy(file);
        using PictureDecoder? decoder = PictureDecoder.Open(data);
        if (decoder?.Decode(LabelReader.LookSide) is not { } look || decoder.Decode(LabelReader.FineSide) is not { } fine)
        {
            return null;
        }

        double larger = fine.Width / (double)look.Width;
        if ((FindsModules(look, look.Halve(), 2, Reaches, text, "half") ?? FindsModules(look, look, 1, Reaches, text, "small") ?? FindsBars(look, fine, text, "bars in small")
            ?? (larger > 1 ? FindsBars(fine, fine, text, "bars in fine") ?? FindsModules(fine, fine, 1, FineReaches, text, "fine") : null)) is { } ours)
        {
            return (ours, true);
        }

        return (larger > 1 ? FindsModules(fine, look, larger, Reaches, text, "small in fine") ?? FindsModules(fine, fine, 1, Reaches, text, "fine") : null) is { } other ? (other, false) : null;
    }

    private string? FindsModules(GreyPicture picture, GreyPicture inked, double factor, int[] reaches, string text, string look)
    {
        var found = new List<FoundCode>();
        _sums.Take(inked);
        foreach (int reach in reaches)
        {
            InkPicture ink = InkPicture.Of(_sums, new PixelArea(0, 0, inked.Width, inked.Height), Math.Max(8, Math.Min(inked.Width, inked.Height) / reach));
            _qr.Read(picture, [.. FinderMarks.Find(ink).Select(mark => mark.Scale(factor))], leastSure: 0, found);
            _dataMatrix.Read(picture, ink, factor, found);
            if (found.Any(code => code.Text == text))
            {
                return $"{look}, reach 1/{reach}";
            }
        }

        return null;
    }

    private string? FindsBars(GreyPicture searched, GreyPicture fine, string text, string look)
    {
        foreach (BarField field in BarField.Find(EdgeField.Of(searched)))
        {
            double factor = fine.Width / (double)searched.Width;
            if (_bars.Read(fine, [.. BarLook.Align(searched, field).Select(one => one.Scale(factor))])?.Text == text)
            {
                return look;
            }
        }

        return null;
    }
}
