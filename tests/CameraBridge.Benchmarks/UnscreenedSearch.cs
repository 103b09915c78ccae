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

    private readonly QrSearch _qr = new();

    private readonly DataMatrixSearch _dataMatrix = new();

    private readonly BarSearch _bars = new();

    /// <summary>By which look a code that says so is found; null where by none.</summary>
    public string? Finds(byte[] file, string text)
    {
        using SKData data = SKData.CreateCopy(file);
        using PictureDecoder? decoder = PictureDecoder.Open(data, SystemJpeg.Installed);
        if (decoder?.Decode(LabelReader.LookSide) is not { } look || decoder.Decode(LabelReader.FineSide) is not { } fine)
        {
            return null;
        }

        GreyPicture half = look.Halve();
        double larger = fine.Width / (double)look.Width;
        return FindsModules(look, half, 2, text, "half in small") ?? FindsModules(look, look, 1, text, "small") ?? FindsBars(look, fine, text, "bars in small")
            ?? (larger > 1 ? FindsModules(fine, look, larger, text, "small in fine") ?? FindsModules(fine, fine, 1, text, "fine") ?? FindsBars(fine, fine, text, "bars in fine") : null);
    }

    private string? FindsModules(GreyPicture picture, GreyPicture inked, double factor, string text, string look)
    {
        var found = new List<FoundCode>();
        foreach (int reach in Reaches)
        {
            InkPicture ink = InkPicture.Of(inked, Math.Max(8, Math.Min(inked.Width, inked.Height) / reach));
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
            IReadOnlyList<BarField> aligned = BarLook.Align(searched, field);
            double factor = fine.Width / (double)searched.Width;
            if (_bars.Read(fine, [.. (aligned.Count > 0 ? aligned : [field]).Select(one => one.Scale(factor))])?.Text == text)
            {
                return aligned.Count > 0 ? look : $"{look}, not alike";
            }
        }

        return null;
    }
}
