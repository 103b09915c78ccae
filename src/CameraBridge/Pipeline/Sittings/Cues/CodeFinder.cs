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

    /// <summary>Half of the least length of a code of bars, in pixels of the small picture: four characters, start, check and stop of 1.2 pixels a module.</summary>
    private const double LeastHalfLength = 40;

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
        foreach (PixelArea part in CodeScreen.Find(edges, reach: 1).Where(part => !IsCovered(found, part)).Take(MostParts))
        {
            if (found.Count < MostCodes)
            {
                FindFine(look, part, fine, found);
            }
        }

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
                found.Add(code.Move(area.X, area.Y));
            }
        }
    }

    /// <summary>Looks for finder patterns and solid sides in the halved picture, where codes that fill much of the picture show best.</summary>
    private void FindLarge(GreyPicture look, Lazy<(GreyPicture Picture, double Factor)?> fine, List<FoundCode> found)
    {
        GreyPicture half = look.Halve();
        InkPicture ink = InkPicture.Of(half, Math.Max(8, Math.Min(half.Width, half.Height) / 10));
        FindQr(look, ink, 2, fine, found);
        _dataMatrix.Read(look, ink, 2, found);
    }

    /// <summary>Looks for codes of small modules in a part of the picture.</summary>
    private void FindFine(GreyPicture look, PixelArea part, Lazy<(GreyPicture Picture, double Factor)?> fine, List<FoundCode> found)
    {
        PixelArea area = part.Grow(16, look.Width, look.Height);
        GreyPicture cut = look.Cut(area);
        InkPicture ink = InkPicture.Of(cut, Math.Max(8, Math.Min(look.Width, look.Height) / 24));
        var inPart = new List<FoundCode>();
        var finePart = new Lazy<(GreyPicture Picture, double Factor)?>(() => fine.Value is { } finer
            ? (finer.Picture.Cut(area.Scale(finer.Factor, finer.Picture.Width, finer.Picture.Height)), finer.Factor)
            : null);
        FindQr(cut, ink, 1, finePart, inPart);
        _dataMatrix.Read(cut, ink, 1, inPart);
        found.AddRange(inPart.Select(code => code.Move(area.X, area.Y)));
    }

    private void FindQr(GreyPicture look, InkPicture ink, int reduction, Lazy<(GreyPicture Picture, double Factor)?> fine, List<FoundCode> found)
    {
        IReadOnlyList<FinderMark> marks =
        [
            .. FinderMarks.Find(ink)
                .Select(mark => new FinderMark(mark.X * reduction, mark.Y * reduction, mark.Module * reduction, mark.Rows))
                .Where(mark => !found.Any(code => code.Holds(mark.X, mark.Y))),
        ];
        if (marks.Count < 3)
        {
            return;
        }

        int before = found.Count;
        bool seen = _qr.Read(look, marks, found);
        if (seen && found.Count == before && fine.Value is { } finer)
        {
            var more = new List<FoundCode>();
            _qr.Read(finer.Picture, [.. marks.Select(mark => new FinderMark(mark.X * finer.Factor, mark.Y * finer.Factor, mark.Module * finer.Factor, mark.Rows))], more);
            found.AddRange(more.Select(code => code.Scale(1 / finer.Factor)));
        }
    }

    private void FindBars(EdgeField edges, Lazy<(GreyPicture Picture, double Factor)?> fine, GreyPicture look, List<FoundCode> found)
    {
        foreach (BarField field in BarField.Find(edges).Where(field => field.HalfLength >= LeastHalfLength).Take(MostParts))
        {
            if (found.Count >= MostCodes || found.Any(code => code.Holds(field.X, field.Y)) || !BarSearch.LooksLikeBars(look, field))
            {
                continue;
            }

            (GreyPicture picture, double factor) = fine.Value ?? (look, 1);
            if (_bars.Read(picture, field.Scale(factor)) is { } code)
            {
                found.Add(code.Scale(1 / factor));
            }
        }
    }

    private static bool IsCovered(List<FoundCode> found, PixelArea part) =>
        found.Any(code => code.Holds(part.X + (part.Width / 2.0), part.Y + (part.Height / 2.0)));
}
