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

    /// <summary>Of the edges of a piece with bars, so much must be of one direction.</summary>
    private const double LeastCoherence = 0.25;

    /// <summary>Readings after each other in one picture, each of something that the one before left over.</summary>
    private const int MostDepth = 6;

    /// <summary>In the order in which they find most for their cost.</summary>
    private static readonly Pass[] Passes =
    [
        new(0.5, 0), new(1, 0), new(0, 0), new(0.25, 0), new(0.5, null),
    ];

    private static readonly Pass[] PassesAfterReading = [new(0.5, 0), new(1, 0), new(0, 0), new(0.5, null)];

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
        Search(picture, Passes, 0, texts);
        return new LabelReading([.. texts], whole);
    }

    /// <summary>Searches the busy parts of a picture one by one.</summary>
    /// <param name="picture">The picture; covered where codes were read.</param>
    /// <param name="passes">The passes over each part.</param>
    /// <param name="depth">How often something was read on the way here.</param>
    /// <param name="texts">Takes the texts.</param>
    private void Search(GreyPicture picture, Pass[] passes, int depth, SortedSet<string> texts)
    {
        (IReadOnlyList<BusyPart> parts, double factor) = Screen(picture, reach: 2);
        foreach (BusyPart part in parts.Take(MostParts))
        {
            PixelArea area = part.Area.Scale(factor, picture.Width, picture.Height);
            int margin = Math.Max(16, Math.Min(area.Width, area.Height) / 4);
            SearchPart(picture.Cut(area.Grow(margin, picture.Width, picture.Height)), part.Angle, passes, depth, texts);
        }
    }

    private static (IReadOnlyList<BusyPart> Parts, double Factor) Screen(GreyPicture picture, int reach)
    {
        GreyPicture screened = picture.Halve();
        double factor = 2;
        while (Math.Max(screened.Width, screened.Height) > ScreenSide)
        {
            screened = screened.Halve();
            factor *= 2;
        }

        return (CodeScreen.Find(screened, reach), factor);
    }

    /// <summary>
    /// The passes over one part. What a pass reads is covered, and what is busy still is searched in the same way, with the passes that find nearly
    /// all: a second code in a picture with a label.
    /// </summary>
    private void SearchPart(GreyPicture full, double partAngle, Pass[] passes, int depth, SortedSet<string> texts)
    {
        GreyPicture half = full.Halve();
        foreach (Pass pass in passes)
        {
            if (pass.Scale == 0)
            {
                if (ReadPieces(full, texts))
                {
                    SearchRest(full, depth, texts);
                    return;
                }

                continue;
            }

            double angle = pass.Angle ?? -partAngle;
            GreyPicture picture = pass.Scale switch { 1 => full.Copy(), 0.5 => half.Rotate(angle), _ => half.Halve() };
            if (Math.Min(picture.Width, picture.Height) < LeastSide)
            {
                continue;
            }

            IReadOnlyList<(double X, double Y)[]> covers = finder.Read(picture, texts);
            if (covers.Count == 0)
            {
                continue;
            }

            foreach ((double X, double Y)[] corners in covers)
            {
                full.Cover([.. corners.Select(corner => ToFull(corner, picture, full, pass.Scale, angle))]);
            }

            SearchRest(full, depth, texts);
            return;
        }
    }

    private void SearchRest(GreyPicture full, int depth, SortedSet<string> texts)
    {
        if (depth < MostDepth)
        {
            Search(full, PassesAfterReading, depth + 1, texts);
        }
    }

    /// <summary>
    /// Looks at each piece of a part by itself, turned upright by its own edges: bars beside print lie at an angle that the part as a whole does not
    /// show, and a Data Matrix must fill the picture to be found.
    /// </summary>
    private bool ReadPieces(GreyPicture full, SortedSet<string> texts)
    {
        bool found = false;
        (IReadOnlyList<BusyPart> pieces, double factor) = Screen(full, reach: 1);
        foreach (BusyPart piece in pieces.Take(MostParts))
        {
            PixelArea area = piece.Area.Scale(factor, full.Width, full.Height);
            PixelArea tight = area.Grow(Math.Max(6, Math.Min(area.Width, area.Height) / 12), full.Width, full.Height);
            if (Math.Max(area.Width, area.Height) <= 4 * Math.Min(area.Width, area.Height) && ReadSquare(full.Cut(tight)) is { } text)
            {
                texts.Add(text);
                found = true;
                full.Cover([(tight.X, tight.Y), (tight.Right, tight.Y), (tight.Right, tight.Bottom), (tight.X, tight.Bottom)]);
            }
            else if (piece.Coherence >= LeastCoherence && Math.Abs(piece.Angle) is > 4 and < 86)
            {
                PixelArea wide = area.Grow(Math.Max(16, Math.Min(area.Width, area.Height) / 3), full.Width, full.Height);
                GreyPicture cut = full.Cut(wide);
                GreyPicture turned = cut.Rotate(-piece.Angle);
                foreach ((double X, double Y)[] corners in finder.Read(turned, texts))
                {
                    found = true;
                    full.Cover([.. corners.Select(corner => ToFull(corner, turned, cut, 1, -piece.Angle)).Select(corner => (corner.X + wide.X, corner.Y + wide.Y))]);
                }
            }
        }

        return found;
    }

    private string? ReadSquare(GreyPicture cut)
    {
        GreyPicture half = cut.Halve();
        double angle = -half.GridAngle();
        bool small = Math.Min(half.Width, half.Height) < LeastSide;
        return finder.ReadDataMatrix(cut)
            ?? (small ? null : finder.ReadDataMatrix(half))
            ?? (Math.Abs(angle) < 2 ? null : finder.ReadDataMatrix(cut.Rotate(angle)))
            ?? (small || Math.Abs(angle) < 2 ? null : finder.ReadDataMatrix(half.Rotate(angle)));
    }

    /// <summary>A point of a pass's picture in the part's own pixels.</summary>
    private static (double X, double Y) ToFull((double X, double Y) point, GreyPicture picture, GreyPicture full, double scale, double angle)
    {
        (double sin, double cos) = Math.SinCos(angle * Math.PI / 180);
        double x = point.X - ((picture.Width - 1) / 2.0);
        double y = point.Y - ((picture.Height - 1) / 2.0);
        return ((((x * cos) + (y * sin)) / scale) + ((full.Width - 1) / 2.0), (((y * cos) - (x * sin)) / scale) + ((full.Height - 1) / 2.0));
    }

    /// <summary>One look at a part.</summary>
    /// <param name="Scale">1, 0.5 or 0.25 of the part's size; 0 for a look at each of its compact pieces.</param>
    /// <param name="Angle">Degrees that it is turned by; null: so that its strongest edges stand upright.</param>
    private readonly record struct Pass(double Scale, double? Angle);
}
