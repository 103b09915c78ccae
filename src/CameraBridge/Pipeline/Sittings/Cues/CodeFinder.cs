using CameraBridge.Pipeline.Sittings.Cues.Codes;
using CameraBridge.Pipeline.Sittings.Cues.Labels;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>
/// Finds QR codes, Data Matrix and Code 128 in a grey picture: the formats that gave no phantom reading in tests on pictures without codes, which the
/// weaker linear formats did; others only where a pattern of the site asks for them. Not thread-safe.
/// </summary>
/// <param name="also">Symbologies to search besides.</param>
internal sealed class CodeFinder(IReadOnlyList<RareCode> also)
{
    /// <summary>More codes than this in one picture is no label shot.</summary>
    private const int MostCodes = 16;

    /// <summary>More parts than this are one busy pattern.</summary>
    private const int MostParts = 12;

    /// <summary>The same for the symbologies that are searched slowly.</summary>
    private const int MostRareParts = 4;

    /// <summary>
    /// Half of the least length of a field of bars, in pixels of the small picture. The shortest label has 68 modules (four characters, start, check and stop); a field is told
    /// shorter than its code where the ends are out of focus, and of one that is no code three lines are looked at and no more.
    /// </summary>
    private const double LeastHalfLength = 24;

    /// <summary>A pixel is compared with what lies within the picture's shorter side by these, one after the other: in the halved picture ...</summary>
    private static readonly int[] ReachesOfLarge = [10, 6];

    /// <summary>... in a busy part of the small one ...</summary>
    private static readonly int[] ReachesOfFine = [24];

    /// <summary>... and in a stark part. What glare, a gradient or the card's rim hides to the one shows to the other.</summary>
    private static readonly int[] ReachesOfStark = [6, 48];

    /// <summary>Modules around a pixel that it is compared with where a mark lies under glare: a finder pattern is seven across.</summary>
    private static readonly double[] GlareReaches = [4, 2.5];

    /// <summary>The third mark is no further from the nearer one of the two than so many times what they are apart.</summary>
    private const double GlareDistance = 1.8;

    /// <summary>More marks than this are noise.</summary>
    private const int MostUnderGlare = 12;

    /// <summary>By so much a mark may look smaller than the other two, where glare eats at it.</summary>
    private const double LeastOfPair = 0.6;

    /// <summary>A stark part that is larger than so much of the picture is a pattern, or a code that the halved picture shows.</summary>
    private const double MostOfPicture = 0.25;

    /// <summary>A field is looked at again with so much of its length around it, since it may reach further than it seemed to.</summary>
    private const double EndMargin = 0.3;

    /// <summary>So many of the fields that are found there.</summary>
    private const int MostAgain = 2;

    private readonly QrSearch _qr = new();

    private readonly BarSearch _bars = new();

    private readonly DataMatrixSearch _dataMatrix = new();

    private readonly RareSearch? _rare = also.Count > 0 ? new RareSearch(also) : null;

    /// <summary>Reads the codes in a picture.</summary>
    /// <param name="look">The picture, small.</param>
    /// <param name="fine">The same picture larger, and by how much; no value where there is no more to see.</param>
    /// <returns>The codes, in pixels of the small picture.</returns>
    public IReadOnlyList<FoundCode> Find(GreyPicture look, Lazy<(GreyPicture Picture, double Factor)?> fine)
    {
        var found = new List<FoundCode>();
        EdgeField edges = EdgeField.Of(look);
        if (!CodeScreen.MayHoldCode(edges))
        {
            return found;
        }

        FindLarge(look, fine, found);
        FindBars(edges, fine, look, found);

        // What the reduced picture is too coarse for.
        FindFine(look, CodeScreen.Find(edges, reach: 1), 16, ReachesOfFine, fine, found);
        FindFine(look, [.. CodeScreen.FindStark(edges).Where(part => part.Width * part.Height < MostOfPicture * look.Width * look.Height)], 32, ReachesOfStark, fine, found);

        FindRare(edges, look, found);
        return found;
    }

    private void FindRare(EdgeField edges, GreyPicture look, List<FoundCode> found)
    {
        foreach (PixelArea part in _rare is null ? [] : CodeScreen.Find(edges, reach: 2).Where(part => !IsCovered(found, part)).Take(MostRareParts))
        {
            PixelArea area = part.Grow(16, look.Width, look.Height);
            if (_rare?.Read(look.Cut(area)) is { } code && found.Count < MostCodes)
            {
                code.Move(area.X, area.Y).AddTo(found);
            }
        }
    }

    /// <summary>Looks for finder patterns and solid sides in the halved picture, where codes that fill much of the picture show best.</summary>
    private void FindLarge(GreyPicture look, Lazy<(GreyPicture Picture, double Factor)?> fine, List<FoundCode> found)
    {
        GreyPicture half = look.Halve();
        FindModules(look, half, 2, ReachesOfLarge, Math.Min(half.Width, half.Height), fine, found);
    }

    /// <summary>Looks for codes of small modules in parts of the picture, and so many pixels around them.</summary>
    private void FindFine(
        GreyPicture look, IReadOnlyList<PixelArea> parts, int margin, ReadOnlySpan<int> reaches, Lazy<(GreyPicture Picture, double Factor)?> fine, List<FoundCode> found)
    {
        int tried = 0;
        foreach (PixelArea part in parts)
        {
            if (found.Count >= MostCodes || tried >= MostParts || IsCovered(found, part))
            {
                continue;
            }

            tried++;
            PixelArea area = part.Grow(margin, look.Width, look.Height);
            GreyPicture cut = look.Cut(area);
            var inPart = new List<FoundCode>();
            var finePart = new Lazy<(GreyPicture Picture, double Factor)?>(() => fine.Value is { } finer
                ? (finer.Picture.Cut(area.Scale(finer.Factor, finer.Picture.Width, finer.Picture.Height)), finer.Factor)
                : null);
            FindModules(cut, cut, 1, reaches, Math.Min(look.Width, look.Height), finePart, inPart);
            inPart.ForEach(code => code.Move(area.X, area.Y).AddTo(found));
        }
    }

    /// <summary>Looks for codes of modules by one reach after the other, until one is found.</summary>
    private void FindModules(
        GreyPicture look, GreyPicture inked, int reduction, ReadOnlySpan<int> reaches, int side, Lazy<(GreyPicture Picture, double Factor)?> fine, List<FoundCode> found)
    {
        int before = found.Count;
        for (int i = 0; i < reaches.Length && found.Count == before; i++)
        {
            InkPicture ink = InkPicture.Of(inked, Math.Max(8, side / reaches[i]));
            FindQr(look, ink, reduction, fine, found);
            _dataMatrix.Read(look, ink, reduction, found);
        }
    }

    private void FindQr(GreyPicture look, InkPicture ink, int reduction, Lazy<(GreyPicture Picture, double Factor)?> fine, List<FoundCode> found)
    {
        IReadOnlyList<FinderMark> marks = FinderMarks.Find(ink);
        int before = found.Count;
        ReadQr(look, marks, leastSure: 0, reduction, fine, found);
        if (found.Count == before && FinderMarks.LikelyPair(marks) is { } pair)
        {
            FindUnderGlare(look, pair.One, pair.Other, reduction, fine, found);
        }
    }

    /// <summary>Looks for the third mark of a code of which two are clear: under glare it stands out from what lies next to it only.</summary>
    private void FindUnderGlare(GreyPicture look, FinderMark one, FinderMark other, int reduction, Lazy<(GreyPicture Picture, double Factor)?> fine, List<FoundCode> found)
    {
        GreyPicture inked = reduction == 1 ? look : look.Halve();
        double apart = one.Distance(other);
        int before = found.Count;
        foreach (double reach in GlareReaches)
        {
            FinderMark[] third =
            [
                .. FinderMarks.Find(InkPicture.Of(inked, (int)(reach * other.Module)), LeastOfPair * other.Module, glare: true)
                    .Where(mark => !mark.IsNear(one) && !mark.IsNear(other) && Math.Min(mark.Distance(one), mark.Distance(other)) < GlareDistance * apart),
            ];
            if (third.Length is > 0 and <= MostUnderGlare && found.Count == before)
            {
                ReadQr(look, [one, other, .. third], leastSure: 2, reduction, fine, found);
            }
        }
    }

    private void ReadQr(GreyPicture look, IReadOnlyList<FinderMark> seen, int leastSure, int reduction, Lazy<(GreyPicture Picture, double Factor)?> fine, List<FoundCode> found)
    {
        IReadOnlyList<FinderMark> marks =
        [
            .. seen.Select(mark => mark.Scale(reduction))
                .Where(mark => !found.Any(code => code.Holds(mark.X, mark.Y))),
        ];
        if (marks.Count < 3)
        {
            return;
        }

        int before = found.Count;
        bool stand = _qr.Read(look, marks, leastSure, found);
        if (stand && found.Count == before && fine.Value is { } finer)
        {
            var more = new List<FoundCode>();
            _qr.Read(finer.Picture, [.. marks.Select(mark => mark.Scale(finer.Factor))], leastSure, more);
            more.ForEach(code => code.Scale(1 / finer.Factor).AddTo(found));
        }
    }

    private void FindBars(EdgeField edges, Lazy<(GreyPicture Picture, double Factor)?> fine, GreyPicture look, List<FoundCode> found)
    {
        foreach (BarField field in BarField.Find(edges).Where(field => field.HalfLength >= LeastHalfLength).Take(MostParts))
        {
            if (found.Count >= MostCodes || found.Any(code => code.Holds(field.X, field.Y)) || BarLook.Align(look, field) is not { Count: > 0 } aligned)
            {
                continue;
            }

            (GreyPicture picture, double factor) = fine.Value ?? (look, 1);
            IEnumerable<BarField> scaled = aligned.Select(one => one.Scale(factor));
            if (_bars.Read(picture, factor > 1 ? scaled.Concat(FieldsAgain(picture, aligned[0].Scale(factor))) : scaled) is { } code)
            {
                code.Scale(1 / factor).AddTo(found);
            }
        }
    }

    /// <summary>How a field lies by the edges of the fine picture, where they are further apart from print and the card's rim.</summary>
    private static IEnumerable<BarField> FieldsAgain(GreyPicture picture, BarField field)
    {
        PixelArea area = field.Around(EndMargin, picture.Width, picture.Height);
        GreyPicture cut = picture.Cut(area);
        return BarField.Find(EdgeField.Of(cut)).Where(again => again.HalfLength >= field.HalfLength / 2).Take(MostAgain)
            .SelectMany(again => BarLook.Align(cut, again)).Select(again => again with { X = again.X + area.X, Y = again.Y + area.Y });
    }

    private static bool IsCovered(List<FoundCode> found, PixelArea part) =>
        found.Any(code => code.Holds(part.X + (part.Width / 2.0), part.Y + (part.Height / 2.0)));
}
