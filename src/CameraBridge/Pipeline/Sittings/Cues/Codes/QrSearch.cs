using CameraBridge.Pipeline.Sittings.Cues.Labels;
using ZXing;
using ZXing.Common;

namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>
/// Reads QR codes that were photographed at a slant, out of focus or under glare: three finder patterns say where one lies, a projective map is laid
/// on the edges of all patterns that every QR code has, and each module is looked at where that map says.
/// </summary>
internal sealed class QrSearch
{
    /// <summary>Of the modules that every code of a size has, so many must be seen as they are.</summary>
    private const double LeastAgreement = 0.8;

    /// <summary>The same for the modules of the three finder patterns, before the size is known.</summary>
    private const double LeastFinders = 0.7;

    /// <summary>What agrees by less is none, in any size: half of all modules agree by chance.</summary>
    private const double HalfFinders = 0.56;

    /// <summary>Larger codes are no labels: version 20 holds 666 bytes.</summary>
    private const int LargestVersion = 20;

    /// <summary>So many sets of three marks are tried, the least odd first.</summary>
    private const int MostTries = 12;

    private readonly ZXing.QrCode.Internal.Decoder _decoder = new();

    private readonly Dictionary<DecodeHintType, object> _hints = [];

    /// <summary>Reads the codes that three of the marks each belong to.</summary>
    /// <param name="picture">The picture.</param>
    /// <param name="marks">Finder patterns in it.</param>
    /// <param name="leastSure">So many of the three must be sure.</param>
    /// <param name="found">Takes the codes.</param>
    /// <returns>True when three marks stood as those of a code do, whether or not it was read.</returns>
    public bool Read(GreyPicture picture, IReadOnlyList<FinderMark> marks, int leastSure, List<FoundCode> found)
    {
        var triples = new List<Triple>();
        for (int a = 0; a < marks.Count; a++)
        {
            for (int b = 0; b < marks.Count; b++)
            {
                for (int c = b + 1; c < marks.Count; c++)
                {
                    if (a != b && a != c && Triple.Of(marks[a], marks[b], marks[c]) is { } triple && triple.Sure >= leastSure)
                    {
                        triples.Add(triple);
                    }
                }
            }
        }

        // Marks that are not sure are found by the dozen in noise and cloth: they have tries of their own.
        triples.Sort((one, other) => one.Oddness.CompareTo(other.Oddness));
        bool seen = false;
        foreach (IGrouping<bool, Triple> group in triples.GroupBy(triple => triple.Sure == 3).OrderByDescending(group => group.Key))
        {
            ReadFirst(picture, group, found, ref seen);
        }

        return seen;
    }

    private void ReadFirst(GreyPicture picture, IEnumerable<Triple> triples, List<FoundCode> found, ref bool seen)
    {
        var used = new HashSet<FinderMark>();
        int tries = 0;
        foreach (Triple triple in triples)
        {
            if (used.Contains(triple.Corner) || used.Contains(triple.Right) || used.Contains(triple.Below) || tries >= MostTries)
            {
                continue;
            }

            tries++;
            if (Read(picture, triple, ref seen) is { } code)
            {
                code.AddTo(found);
                used.UnionWith([triple.Corner, triple.Right, triple.Below]);
            }
        }
    }

    private FoundCode? Read(GreyPicture picture, Triple triple, ref bool seen)
    {
        int likely = triple.Version;
        if (!AreFinders(picture, triple))
        {
            return null;
        }

        foreach (int version in new[] { likely, likely + 1, likely - 1, likely + 2, likely - 2 })
        {
            if (version is < 1 or > LargestVersion || (Math.Abs(version - likely) == 2 && likely < 6))
            {
                continue;
            }

            if (ReadVersion(picture, triple, version, ref seen) is { } code)
            {
                return code;
            }
        }

        return null;
    }

    /// <summary>Looks at the modules of the three finder patterns alone; where some agree, also in the next likely size.</summary>
    private static bool AreFinders(GreyPicture picture, Triple triple)
    {
        double agreement = FinderAgreement(picture, triple, triple.Version);
        return agreement > LeastFinders || (agreement > HalfFinders && triple.SecondVersion >= 1 && FinderAgreement(picture, triple, triple.SecondVersion) > LeastFinders);
    }

    private static double FinderAgreement(GreyPicture picture, Triple triple, int version)
    {
        int size = 17 + (4 * version);
        ModuleGrid always = QrPatterns.Finders(version);
        Projection map = GridFit.Improve(picture, First(triple, size), always, 0.9).Map;
        return always.Agreement(GridSample.ReadKnown(picture, map, always));
    }

    private static Projection First(Triple triple, int size) => Projection.Affine(
        size,
        [(3.5, 3.5), (size - 3.5, 3.5), (3.5, size - 3.5)],
        [(triple.Corner.X, triple.Corner.Y), (triple.Right.X, triple.Right.Y), (triple.Below.X, triple.Below.Y)]);

    private FoundCode? ReadVersion(GreyPicture picture, Triple triple, int version, ref bool seen)
    {
        int size = 17 + (4 * version);
        ModuleGrid always = QrPatterns.Finders(version);
        Projection map = GridFit.Improve(picture, First(triple, size), always, 0.9).Map;
        map = GridFit.Improve(picture, map, always, 0.7).Map;
        Fit fit = GridFit.Improve(picture, map, always, 0.6);
        if (fit.Edges < fit.Sought / 2)
        {
            return null;
        }

        map = fit.Map;
        ModuleGrid patterns = QrPatterns.All(version);
        if (version > 1)
        {
            map = QrPatterns.Align(picture, map, version);
            map = GridFit.Improve(picture, map, patterns, 0.7).Map;
            map = GridFit.Improve(picture, map, patterns, 0.6).Map;
        }

        // What was read of the modules shows where the grid lies between the patterns, even with a few read wrongly.
        ModuleGrid modules = GridSample.Read(picture, map, size, size, byMean: false);
        double agreement = patterns.Agreement(modules);
        seen |= agreement > 0.7;
        if (agreement < 0.65)
        {
            return null;
        }

        for (int round = 0; round < 3; round++)
        {
            if (agreement >= LeastAgreement && Decode(modules) is { } text)
            {
                return Place(picture, map, modules, size, text);
            }

            map = GridFit.Improve(picture, map, modules, 0.6).Map;
            modules = GridSample.Read(picture, map, size, size, byMean: round == 1);
            agreement = patterns.Agreement(modules);
        }

        return agreement >= LeastAgreement && Decode(modules) is { } last ? Place(picture, map, modules, size, last) : null;
    }

    private static FoundCode Place(GreyPicture picture, Projection map, ModuleGrid modules, int size, string text)
    {
        Fit fit = GridFit.Improve(picture, GridFit.Improve(picture, map, modules, 0.5).Map, modules, 0.5);
        if (fit.Edges == 0)
        {
            fit = new Fit(map, 0, 0, double.PositiveInfinity);
        }

        return new FoundCode(
            text,
            BarcodeFormat.QR_CODE,
            [fit.Map.Apply(0, 0), fit.Map.Apply(size, 0), fit.Map.Apply(size, size), fit.Map.Apply(0, size)],
            new GridPlace(fit.Map, size, size, fit.Residual, fit.Edges));
    }

    private string? Decode(ModuleGrid modules)
    {
        DecoderResult? read = _decoder.decode(modules.ToBits(), _hints);
        return string.IsNullOrEmpty(read?.Text) ? null : CodeMark.TextOf(read, BarcodeFormat.QR_CODE, "]Q");
    }

    /// <summary>Three finder patterns that may belong to one code.</summary>
    /// <param name="Corner">The one at the right angle: upper left.</param>
    /// <param name="Right">Clockwise from it: upper right.</param>
    /// <param name="Below">Lower left.</param>
    /// <param name="Size">Modules a side, about.</param>
    /// <param name="Oddness">0: as upright as printed.</param>
    private sealed record Triple(FinderMark Corner, FinderMark Right, FinderMark Below, double Size, double Oddness)
    {
        /// <summary>How many of them are sure.</summary>
        public int Sure => (Corner.IsSure ? 1 : 0) + (Right.IsSure ? 1 : 0) + (Below.IsSure ? 1 : 0);

        /// <summary>The likely version: they are four modules apart.</summary>
        public int Version => (int)Math.Round((Size - 17) / 4);

        /// <summary>The next likely one.</summary>
        public int SecondVersion => Version + (Size - 17 > 4 * Version ? 1 : -1);

        public static Triple? Of(FinderMark corner, FinderMark one, FinderMark other)
        {
            double least = Math.Min(corner.Module, Math.Min(one.Module, other.Module));
            double most = Math.Max(corner.Module, Math.Max(one.Module, other.Module));
            if (most > 2 * least)
            {
                return null;
            }

            (double ux, double uy) = (one.X - corner.X, one.Y - corner.Y);
            (double vx, double vy) = (other.X - corner.X, other.Y - corner.Y);
            double lengthU = Math.Sqrt((ux * ux) + (uy * uy));
            double lengthV = Math.Sqrt((vx * vx) + (vy * vy));
            double cosine = ((ux * vx) + (uy * vy)) / (lengthU * lengthV);
            double ratio = Math.Max(lengthU, lengthV) / Math.Min(lengthU, lengthV);
            if (Math.Abs(cosine) > 0.6 || ratio > 2.2)
            {
                return null;
            }

            double cross = (ux * vy) - (uy * vx);
            (FinderMark right, FinderMark below) = cross > 0 ? (one, other) : (other, one);

            // The area of the parallelogram in modules, which a tilt leaves alone.
            double module = (corner.Module + one.Module + other.Module) / 3;
            double side = Math.Sqrt(Math.Abs(cross)) / ModuleAlong(module, ux, uy, vx, vy);
            var triple = new Triple(corner, right, below, side + 7, Math.Abs(cosine) + (ratio - 1) + ((most / least) - 1));
            return triple.Version is < 1 or > LargestVersion ? null : triple;
        }

        /// <summary>
        /// A mark's module is the mean of its widths along the picture's rows and columns; turned by an angle it looks wider by 1 / max(|sin|, |cos|) on
        /// both.
        /// </summary>
        private static double ModuleAlong(double module, double ux, double uy, double vx, double vy)
        {
            double angle = (Math.Atan2(uy, ux) + Math.Atan2(-vx, vy)) / 2;
            (double sin, double cos) = Math.SinCos(angle);
            return module * Math.Max(Math.Abs(sin), Math.Abs(cos));
        }
    }
}
