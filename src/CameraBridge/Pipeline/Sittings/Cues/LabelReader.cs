using SkiaSharp;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>What a look at a picture gave.</summary>
/// <param name="Texts">The texts of the codes in it, each once, in ordinal order.</param>
/// <param name="Whole">False when the picture, or a part of it, could not be decoded, so that a code may have been missed.</param>
internal sealed record LabelReading(IReadOnlyList<string> Texts, bool Whole)
{
    public static LabelReading Unreadable { get; } = new([], false);
}

/// <summary>
/// Looks for codes in a camera picture. The picture is decoded small; a screen finds the parts that could hold a code; only these are read, at
/// several sizes and angles, since the decoders find more in a picture of the right size (a code at half size is often read where the full size
/// is not) and at the right angle. A picture without such parts costs little more than its decoding. Not thread-safe: one reader a thread.
/// </summary>
internal sealed class LabelReader
{
    /// <summary>Long side, in pixels, of the picture that is searched first.</summary>
    private const int BaseSide = 1600;

    /// <summary>Long side up to which the screen's picture is halved.</summary>
    private const int ScreenSide = 960;

    /// <summary>Parts looked at; a picture with more of them is one busy pattern and is searched as a whole.</summary>
    private const int MostParts = 8;

    /// <summary>Shorter sides than this hold no code.</summary>
    private const int LeastSide = 24;

    private static readonly double[] OtherAngles = [30, 60, -30, -60, 45, -45];

    private readonly CodeFinder finder = new();

    /// <summary>Looks at a file that lies in memory.</summary>
    public LabelReading Read(SKData file)
    {
        using PictureDecoder? decoder = PictureDecoder.Open(file);
        if (decoder?.Decode(BaseSide) is not { } picture)
        {
            return LabelReading.Unreadable;
        }

        bool whole = decoder.IsWhole;
        var texts = new SortedSet<string>(StringComparer.Ordinal);
        Search(picture, texts);
        return new LabelReading([.. texts], whole);
    }

    private void Search(GreyPicture picture, SortedSet<string> texts)
    {
        GreyPicture screened = picture.Halve();
        double factor = 2;
        while (Math.Max(screened.Width, screened.Height) > ScreenSide)
        {
            screened = screened.Halve();
            factor *= 2;
        }

        IReadOnlyList<BusyPart> parts = CodeScreen.Find(screened);
        if (parts.Count == 0)
        {
            return;
        }

        foreach (BusyPart part in parts.Take(MostParts))
        {
            PixelArea area = part.Area.Scale(factor, picture.Width, picture.Height);
            int margin = Math.Max(16, Math.Min(area.Width, area.Height) / 4);
            SearchPart(picture.Cut(area.Grow(margin, picture.Width, picture.Height)), part, texts);
        }
    }

    private void SearchPart(GreyPicture full, BusyPart part, SortedSet<string> texts)
    {
        GreyPicture half = full.Halve();
        GreyPicture quarter = half.Halve();
        if (TryRead(half, texts) | TryRead(full, texts))
        {
            return;
        }

        if (TryRead(quarter, texts) || TryRead(half.Rotate(-part.Angle), texts))
        {
            return;
        }

        foreach (double angle in OtherAngles)
        {
            if (TryRead(half.Rotate(angle), texts))
            {
                return;
            }
        }
    }

    private bool TryRead(GreyPicture picture, SortedSet<string> texts) =>
        Math.Min(picture.Width, picture.Height) >= LeastSide && finder.Read(picture, texts);
}
