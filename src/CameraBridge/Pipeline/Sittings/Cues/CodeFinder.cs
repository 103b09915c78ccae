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

    /// <summary>More stark ones.</summary>
    private const int MostStarkParts = 6;

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
    private static readonly int[] ReachesOfBusy = [24, 10];

    /// <summary>... in a stark part of the small one (what glare, a gradient or the card's rim hides to the one shows to the other) ...</summary>
    private static readonly int[] ReachesOfStark = [6, 48];

    /// <summary>... of the halved one ...</summary>
    private static readonly int[] ReachesOfStarkLarge = [24, 48];

    /// <summary>... and of the fine one, the widest first.</summary>
    private static readonly int[] ReachesOfStarkFine = [6, 48];

    /// <summary>Modules around a pixel that it is compared with where a mark lies under glare: a finder pattern is seven across.</summary>
    private static readonly double[] GlareReaches = [4, 2.5];

    /// <summary>The third mark is no further from the nearer one of the two than so many times what they are apart.</summary>
    private const double GlareDistance = 1.8;

    /// <summary>More marks than this are noise.</summary>
    private const int MostUnderGlare = 12;

    /// <summary>By so much a mark may look smaller than the other two, where glare eats at it.</summary>
    private const double LeastOfPair = 0.6;

    /// <summary>A stark part that is larger than so much of the picture is a pattern, or a code that the halved picture shows.</summary>
    private const double MostOfSmall = 0.6;

    /// <summary>The same with what is around it: a code that fills more of the picture shows in the small one.</summary>
    private const double MostOfFine = 0.15;

    /// <summary>So many stark parts are looked at in the fine picture.</summary>
    private const int MostFineParts = 4;

    /// <summary>So many fields of bars in one of them.</summary>
    private const int MostFineFields = 3;

    /// <summary>Bars that are not read are looked for again in the fine picture, with so much of the field's length around it, since they may reach further than it seemed.</summary>
    private const double EndMargin = 0.3;

    /// <summary>So many of them: more are a pattern.</summary>
    private const int MostAgain = 3;

    /// <summary>Pixels of the small picture around a busy part ...</summary>
    private const int AroundBusy = 16;

    /// <summary>... around a stark part, of whose code less may be stark ...</summary>
    private const int AroundStark = 32;

    /// <summary>... and around that for bars, which reach further than they are stark.</summary>
    private const int AroundBars = 64;

    private readonly SummedPicture _small = new();

    private readonly SummedPicture _half = new();

    private readonly SummedPicture _fine = new();

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

        // Codes that fill much of the picture show best in the halved one.
        var sizes = new Sizes(look, look.Halve(), fine);
        _half.Take(sizes.Half);
        _small.Take(look);
        FindModules(sizes, 2, new PixelArea(0, 0, sizes.Half.Width, sizes.Half.Height), ReachesOfLarge, found);
        FindBars(sizes, edges, found);

        // What the reduced picture is too coarse for.
        foreach (PixelArea part in CodeScreen.Find(edges, reach: 1).Where(part => found.Count < MostCodes && !IsCovered(found, part)).Take(MostParts))
        {
            FindModules(sizes, 1, part.Grow(AroundBusy, look.Width, look.Height), ReachesOfBusy, found);
        }

        int finer = 0;
        foreach ((PixelArea part, bool isFine) in CodeScreen.FindStark(edges).Where(part => found.Count < MostCodes && !IsCovered(found, part.Area)).Take(MostStarkParts))
        {
            FindInStark(sizes, part, isFine, isFine && finer++ < MostFineParts, found);
        }

        FindRare(edges, look, found);
        return found;
    }

    private void FindRare(EdgeField edges, GreyPicture look, List<FoundCode> found)
    {
        foreach (PixelArea part in _rare is null ? [] : CodeScreen.Find(edges, reach: 2).Where(part => !IsCovered(found, part)).Take(MostRareParts))
        {
            PixelArea area = part.Grow(AroundBusy, look.Width, look.Height);
            if (_rare?.Read(look.Cut(area)) is { } code && found.Count < MostCodes)
            {
                code.Move(area.X, area.Y).AddTo(found);
            }
        }
    }

    /// <summary>Looks at a part that is as black and white as print, until something is found there.</summary>
    /// <param name="sizes">The picture.</param>
    /// <param name="part">Where, in the small one.</param>
    /// <param name="alsoSmall">Whether to look in the small picture, besides the halved one ...</param>
    /// <param name="alsoFine">... and in the fine one.</param>
    /// <param name="found">Takes the codes.</param>
    private void FindInStark(Sizes sizes, PixelArea part, bool alsoSmall, bool alsoFine, List<FoundCode> found)
    {
        GreyPicture look = sizes.Look;
        int before = found.Count;
        PixelArea area = part.Grow(AroundStark, look.Width, look.Height);
        if (alsoSmall && part.Width * part.Height < MostOfSmall * look.Width * look.Height)
        {
            FindModules(sizes, 1, area, ReachesOfStark, found);
        }

        if (found.Count == before)
        {
            FindModules(sizes, 2, area.Scale(0.5, sizes.Half.Width, sizes.Half.Height), ReachesOfStarkLarge, found);
        }

        if (alsoFine && found.Count == before && sizes.Fine.Value is { } fine)
        {
            var inFine = new List<FoundCode>();
            FindFineBars(sizes, area.Grow(AroundBars, look.Width, look.Height), inFine);
            if (inFine.Count == 0 && area.Width * area.Height < MostOfFine * look.Width * look.Height)
            {
                FindFineModules(fine.Picture, area.Scale(fine.Factor, fine.Picture.Width, fine.Picture.Height), inFine);
            }

            inFine.ForEach(code => code.Scale(1 / fine.Factor).AddTo(found));
        }
    }

    /// <summary>Looks for bars that are too close together, or to print and the card's rim, to be told in the small picture.</summary>
    /// <param name="sizes">The picture, of which there is a fine one.</param>
    /// <param name="area">Where, in the small one.</param>
    /// <param name="found">Takes the codes, in pixels of the fine picture.</param>
    private void FindFineBars(Sizes sizes, PixelArea area, List<FoundCode> found)
    {
        (GreyPicture picture, double factor) = sizes.Fine.Value!.Value;
        PixelArea part = area.Scale(factor, picture.Width, picture.Height);
        foreach (BarField field in sizes.FineFields.Value.Where(field => part.Holds(field.X, field.Y)).Take(MostFineFields))
        {
            // Parts that lie beside each other have fields in common.
            if (sizes.TriedFields.Add(field) && _bars.Read(picture, BarLook.Align(picture, field)) is { } code)
            {
                code.AddTo(found);
            }
        }
    }

    /// <summary>Looks for codes whose modules are too small for the small picture.</summary>
    /// <param name="picture">The fine picture.</param>
    /// <param name="area">Where in it.</param>
    /// <param name="found">Takes the codes, in pixels of the fine picture.</param>
    private void FindFineModules(GreyPicture picture, PixelArea area, List<FoundCode> found)
    {
        // No more of the picture is summed up than the ink depends on.
        int side = Math.Min(picture.Width, picture.Height);
        PixelArea around = area.Grow(side / ReachesOfStarkFine[0], picture.Width, picture.Height);
        GreyPicture cut = picture.Cut(around);
        _fine.Take(cut);
        var inCut = new List<FoundCode>();
        for (int i = 0; i < ReachesOfStarkFine.Length && inCut.Count == 0; i++)
        {
            InkPicture ink = InkPicture.Of(_fine, area with { X = area.X - around.X, Y = area.Y - around.Y }, side / ReachesOfStarkFine[i]);
            _qr.Read(cut, FinderMarks.Find(ink), leastSure: 0, inCut);
            _dataMatrix.Read(cut, ink, 1, inCut);
        }

        inCut.ForEach(code => code.Move(around.X, around.Y).AddTo(found));
    }

    /// <summary>Looks for codes of modules by one reach after the other, until one is found.</summary>
    /// <param name="sizes">The picture.</param>
    /// <param name="reduction">2 to look in the halved picture, 1 in the small one.</param>
    /// <param name="area">Where, in that picture.</param>
    /// <param name="reaches">What the ink is told by.</param>
    /// <param name="found">Takes the codes.</param>
    private void FindModules(Sizes sizes, int reduction, PixelArea area, ReadOnlySpan<int> reaches, List<FoundCode> found)
    {
        SummedPicture inked = reduction == 1 ? _small : _half;
        int before = found.Count;
        for (int i = 0; i < reaches.Length && found.Count == before; i++)
        {
            InkPicture ink = InkPicture.Of(inked, area, Math.Max(8, Math.Min(inked.Picture.Width, inked.Picture.Height) / reaches[i]));
            FindQr(sizes, inked, ink, reduction, found);
            _dataMatrix.Read(sizes.Look, ink, reduction, found);
        }
    }

    private void FindQr(Sizes sizes, SummedPicture inked, InkPicture ink, int reduction, List<FoundCode> found)
    {
        IReadOnlyList<FinderMark> marks = FinderMarks.Find(ink);
        int before = found.Count;
        ReadQr(sizes, marks, leastSure: 0, reduction, found);
        if (found.Count == before && FinderMarks.LikelyPair(marks) is { } pair)
        {
            FindUnderGlare(sizes, inked, ink.Area, pair.One, pair.Other, reduction, found);
        }
    }

    /// <summary>Looks for the third mark of a code of which two are clear: under glare it stands out from what lies next to it only.</summary>
    private void FindUnderGlare(Sizes sizes, SummedPicture inked, PixelArea area, FinderMark one, FinderMark other, int reduction, List<FoundCode> found)
    {
        double apart = one.Distance(other);
        int before = found.Count;
        foreach (double reach in GlareReaches)
        {
            FinderMark[] third =
            [
                .. FinderMarks.Find(InkPicture.Of(inked, area, (int)(reach * other.Module)), LeastOfPair * other.Module, glare: true)
                    .Where(mark => !mark.IsNear(one) && !mark.IsNear(other) && Math.Min(mark.Distance(one), mark.Distance(other)) < GlareDistance * apart),
            ];
            if (third.Length is > 0 and <= MostUnderGlare && found.Count == before)
            {
                ReadQr(sizes, [one, other, .. third], leastSure: 2, reduction, found);
            }
        }
    }

    private void ReadQr(Sizes sizes, IReadOnlyList<FinderMark> seen, int leastSure, int reduction, List<FoundCode> found)
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
        bool stand = _qr.Read(sizes.Look, marks, leastSure, found);
        if (stand && found.Count == before && sizes.Fine.Value is { } finer)
        {
            var more = new List<FoundCode>();
            _qr.Read(finer.Picture, [.. marks.Select(mark => mark.Scale(finer.Factor))], leastSure, more);
            more.ForEach(code => code.Scale(1 / finer.Factor).AddTo(found));
        }
    }

    private void FindBars(Sizes sizes, EdgeField edges, List<FoundCode> found)
    {
        int again = 0;
        foreach (BarField field in BarField.Find(edges).Where(field => field.HalfLength >= LeastHalfLength).Take(MostParts))
        {
            if (found.Count >= MostCodes || found.Any(code => code.Holds(field.X, field.Y)) || BarLook.Align(sizes.Look, field) is not { Count: > 0 } aligned)
            {
                continue;
            }

            (GreyPicture picture, double factor) = sizes.Fine.Value ?? (sizes.Look, 1);
            var inFine = new List<FoundCode>();
            if (_bars.Read(picture, aligned.Select(one => one.Scale(factor))) is { } code)
            {
                inFine.Add(code);
            }
            else if (factor > 1 && again++ < MostAgain)
            {
                FindFineBars(sizes, field.Around(EndMargin, sizes.Look.Width, sizes.Look.Height), inFine);
            }

            inFine.ForEach(one => one.Scale(1 / factor).AddTo(found));
        }
    }

    private static bool IsCovered(List<FoundCode> found, PixelArea part) =>
        found.Any(code => code.Holds(part.X + (part.Width / 2.0), part.Y + (part.Height / 2.0)));

    /// <summary>The picture as it is looked at.</summary>
    /// <param name="Look">Small.</param>
    /// <param name="Half">Half of that.</param>
    /// <param name="Fine">Larger than small, and by how much; no value where there is no more to see.</param>
    private sealed record Sizes(GreyPicture Look, GreyPicture Half, Lazy<(GreyPicture Picture, double Factor)?> Fine)
    {
        /// <summary>Fields of bars in the fine picture, found in the whole of it so that none depends on where a part ends, the strongest first.</summary>
        public Lazy<IReadOnlyList<BarField>> FineFields { get; } = new(() => Fine.Value is { } fine
            ? [.. BarField.Find(EdgeField.Of(fine.Picture)).Where(field => field.HalfLength >= fine.Factor * LeastHalfLength)]
            : []);

        /// <summary>Those that were read, or tried in vain.</summary>
        public HashSet<BarField> TriedFields { get; } = [];
    }
}
