using CameraBridge.Pipeline.Sittings.Cues.Labels;
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
/// <param name="also">Symbologies to search besides QR Code, Data Matrix and Code 128.</param>
internal sealed class LabelReader(IReadOnlyList<RareCode>? also = null)
{
    /// <summary>Long side, in pixels, of the picture that is searched first.</summary>
    private const int BaseSide = 1600;

    /// <summary>Long side up to which the screen's picture is halved.</summary>
    private const int ScreenSide = 960;

    /// <summary>Parts looked at by themselves; a picture with more of them is one busy pattern and is searched as a whole, too.</summary>
    private const int MostParts = 16;

    /// <summary>A part smaller than this share of the picture's long side is looked at again in full size, where the file has more to show.</summary>
    private const double SmallPart = 0.35;

    /// <summary>Shorter sides than this hold no code.</summary>
    private const int LeastSide = 24;

    /// <summary>Of the edges of a piece with bars, so much must be of one direction.</summary>
    private const double LeastCoherence = 0.25;

    /// <summary>Readings after each other in one picture, each of something that the one before left over.</summary>
    private const int MostDepth = 6;

    /// <summary>In the order in which they find most for their cost.</summary>
    private static readonly Pass[] Passes = [new(0.5, 0), new(1, 0), new(1, null, true), new(0.25, 0), new(0.25, null, true), new(0.5, null)];

    private static readonly Pass[] PassesAfterReading = [new(0.5, 0), new(1, 0), new(1, null, true), new(0.25, null, true), new(0.5, null)];

    private static readonly Pass[] PassesInFullSize = [new(0.5, 0), new(1, 0), new(1, null, true)];

    private readonly CodeFinder finder = new(also);

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
        PixelArea[] parts = Search(picture, Passes, 0, texts);
        if (texts.Count == 0)
        {
            SearchInFullSize(decoder, picture, parts, texts);
        }

        return new LabelReading([.. texts], whole);
    }

    /// <summary>A code that is small in a large picture has too few pixels in the reduced one.</summary>
    private void SearchInFullSize(PictureDecoder decoder, GreyPicture reduced, PixelArea[] parts, SortedSet<string> texts)
    {
        int longSide = Math.Max(decoder.Width, decoder.Height);
        double factor = longSide / (double)Math.Max(reduced.Width, reduced.Height);
        PixelArea[] small = [.. parts.Where(part => Math.Max(part.Width, part.Height) < SmallPart * Math.Max(reduced.Width, reduced.Height))];
        if (factor < 1.3 || small.Length == 0 || decoder.Decode(longSide) is not { } full)
        {
            return;
        }

        foreach (PixelArea part in small)
        {
            SearchPart(full.Cut(part.Scale(factor, full.Width, full.Height)), 0, PassesInFullSize, 0, texts);
        }
    }

    /// <summary>Searches the busy parts of a picture one by one.</summary>
    /// <param name="picture">The picture; covered where codes were read.</param>
    /// <param name="passes">The passes over each part.</param>
    /// <param name="depth">How often something was read on the way here.</param>
    /// <param name="texts">Takes the texts.</param>
    /// <returns>The parts.</returns>
    private PixelArea[] Search(GreyPicture picture, Pass[] passes, int depth, SortedSet<string> texts)
    {
        (IReadOnlyList<BusyPart> parts, double factor) = Screen(picture, reach: 2);
        var areas = new List<PixelArea>();
        foreach (BusyPart part in parts.Take(MostParts))
        {
            PixelArea area = part.Area.Scale(factor, picture.Width, picture.Height);
            area = area.Grow(Math.Max(16, Math.Min(area.Width, area.Height) / 4), picture.Width, picture.Height);
            areas.Add(area);
            SearchPart(picture.Cut(area), part.Angle, passes, depth, texts);
        }

        if (parts.Count > MostParts && depth == 0)
        {
            SearchPart(picture.Copy(), 0, passes, depth, texts);
        }

        return [.. areas];
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
            if (pass.ByPiece)
            {
                if (ReadPieces(full, pass.Scale, texts))
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
    /// Looks at each piece of a part by itself, as it lies or turned upright by its own edges: bars beside print lie at an angle that the part as a
    /// whole does not show, two codes beside each other confuse the reader of QR codes, and a Data Matrix must fill the picture to be found.
    /// </summary>
    private bool ReadPieces(GreyPicture part, double scale, SortedSet<string> texts)
    {
        // Where modules are larger than the squares in which edges are counted, a code falls to pieces; in the smaller picture it is one again.
        GreyPicture full = scale == 1 ? part : part.Halve().Halve();
        bool found = false;
        (IReadOnlyList<BusyPart> pieces, double factor) = Screen(full, reach: 1);
        foreach (BusyPart piece in pieces.Take(MostParts))
        {
            PixelArea area = piece.Area.Scale(factor, full.Width, full.Height);
            bool compact = Math.Max(area.Width, area.Height) <= 4 * Math.Min(area.Width, area.Height);
            PixelArea tight = area.Grow(Math.Max(6, Math.Min(area.Width, area.Height) / 12), full.Width, full.Height);
            if (compact && ReadSquare(full.Cut(tight)) is { } text)
            {
                texts.Add(text);
                found = true;
                part.Cover(
                [
                    (tight.X / scale, tight.Y / scale), (tight.Right / scale, tight.Y / scale),
                    (tight.Right / scale, tight.Bottom / scale), (tight.X / scale, tight.Bottom / scale),
                ]);
                continue;
            }

            double angle = piece.Coherence >= LeastCoherence && Math.Abs(piece.Angle) is > 4 and < 86 ? -piece.Angle : 0;
            if (angle != 0 || (compact && pieces.Count > 1))
            {
                PixelArea wide = area.Grow(Math.Max(16, Math.Min(area.Width, area.Height) / 3), full.Width, full.Height);
                foreach ((double X, double Y)[] corners in ReadPiece(full.Cut(wide), angle, texts))
                {
                    found = true;
                    part.Cover([.. corners.Select(corner => ((corner.X + wide.X) / scale, (corner.Y + wide.Y) / scale))]);
                }
            }
        }

        return found;
    }

    /// <returns>What was read, in the piece's own pixels.</returns>
    private List<(double X, double Y)[]> ReadPiece(GreyPicture piece, double angle, SortedSet<string> texts)
    {
        GreyPicture turned = angle == 0 ? piece.Copy() : piece.Rotate(angle);
        return [.. finder.Read(turned, texts).Select(corners => corners.Select(corner => ToFull(corner, turned, piece, 1, angle)).ToArray())];
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
    /// <param name="Scale">1, 0.5 or 0.25 of the part's size.</param>
    /// <param name="Angle">Degrees that it is turned by; null: so that its strongest edges stand upright.</param>
    /// <param name="ByPiece">Each piece of the part by itself.</param>
    private readonly record struct Pass(double Scale, double? Angle, bool ByPiece = false);
}
