using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Pipeline.Captures;

namespace CameraBridge.Pipeline.Releases;

/// <summary>Whether a stick or folder may be wiped, as far as its pictures are concerned. Whether it is, the site decides.</summary>
internal enum Wiping
{
    /// <summary>Every picture on it is kept in every archive of its route.</summary>
    Safe,

    NotYet,

    /// <summary>There are no pictures on it.</summary>
    Empty,

    /// <summary>It could not be looked at to its end.</summary>
    NotKnown,

    /// <summary>It is not there.</summary>
    Away,
}

/// <summary>What lies on one tree of a source now, by how its captures stand.</summary>
internal sealed record SourceSurvey
{
    public required string Source { get; init; }

    /// <summary>Name of the mount, where the source watches every mount below a folder; else "".</summary>
    public required string Mount { get; init; }

    public Wiping Wiping { get; init; }

    public int Pictures => Kept + Underway + Undelivered + Unconfirmed + Held + NotTaken;

    public int Kept { get; init; }

    public int Underway { get; init; }

    public int Undelivered { get; init; }

    public int Unconfirmed { get; init; }

    public int Held { get; init; }

    /// <summary>Files with the name of a picture, a clip or a sidecar that were not taken, or changed since.</summary>
    public int NotTaken { get; init; }

    /// <summary>Files of other kinds, which are not the gateway's business.</summary>
    public int Others { get; init; }

    /// <summary>The verdict in words, for people.</summary>
    public string Words => Wiping switch
    {
        Wiping.Safe => $"Safe to wipe: {Details}",
        Wiping.NotYet => $"NOT YET: {Details}",
        Wiping.NotKnown => $"Not known: {Details}",
        Wiping.Empty => $"No pictures on it{Rest}",
        _ => "Not there",
    };

    /// <summary>What the verdict rests on.</summary>
    public string Details => Wiping switch
    {
        Wiping.Safe => string.Create(CultureInfo.InvariantCulture, $"all {Pictures} pictures and clips on it are kept{Rest}"),
        Wiping.NotYet => $"{string.Join(", ", Parts())}{Rest}",
        Wiping.NotKnown => "it could not be read to its end; do not wipe it",
        _ => Rest.Trim(),
    };

    private string Rest => Others == 0 ? "" : string.Create(CultureInfo.InvariantCulture, $" ({Others} other files are on it, which were not taken)");

    private IEnumerable<string> Parts()
    {
        (int Count, string Words)[] parts =
        [
            (Kept, "kept"), (Underway, "on their way"), (Undelivered, "not delivered"), (Unconfirmed, "not confirmed"), (Held, "held for a person"), (NotTaken, "not taken"),
        ];
        return parts.Where((part, index) => part.Count > 0 || index == 0).Select((part, index) => index == 0
            ? string.Create(CultureInfo.InvariantCulture, $"{part.Count} of {Pictures} kept")
            : string.Create(CultureInfo.InvariantCulture, $"{part.Count} {part.Words}"));
    }

    /// <summary>Looks at every tree of a source.</summary>
    /// <param name="source">The source.</param>
    /// <param name="standings">How its captures stand.</param>
    /// <param name="thorough">Compare every file by content; else by place, size and time, and by content only in doubt.</param>
    /// <param name="cancellation">Gives up.</param>
    public static IReadOnlyList<SourceSurvey> Of(SourceConfiguration source, IReadOnlyList<CaptureStanding> standings, bool thorough, CancellationToken cancellation)
    {
        IReadOnlyList<SourceTree> trees = SourceTree.Open(source);
        try
        {
            SourceSurvey[] surveys = [.. trees.Select(tree => Of(source, tree, standings, thorough, cancellation))];
            return surveys.Length > 0 ? surveys : [new SourceSurvey { Source = source.Name, Mount = "", Wiping = Wiping.Away }];
        }
        finally
        {
            foreach (SourceTree tree in trees)
            {
                tree.Dispose();
            }
        }
    }

    /// <summary>Looks at one tree of a source.</summary>
    public static SourceSurvey Of(SourceConfiguration source, SourceTree tree, IReadOnlyList<CaptureStanding> standings, bool thorough, CancellationToken cancellation)
    {
        ILookup<string, CaptureStanding> byPlace = standings.ToLookup(standing => standing.Place, StringComparer.Ordinal);
        string mount = source.Folder.EndsWith("/*", StringComparison.Ordinal) ? tree.RootPlace[(tree.RootPlace.LastIndexOf('/') + 1)..] : "";
        return new SurveyWalk(tree, byPlace, thorough, cancellation).Run(source.Name, mount);
    }

    /// <summary>One walk through one tree.</summary>
    private sealed class SurveyWalk(SourceTree tree, ILookup<string, CaptureStanding> byPlace, bool thorough, CancellationToken cancellation)
    {
        private readonly Dictionary<Standing, int> _counts = Enum.GetValues<Standing>().ToDictionary(standing => standing, _ => 0);
        private int _notTaken;
        private int _others;
        private bool _isBroken;

        public SourceSurvey Run(string source, string mount)
        {
            Walk("");
            SourceSurvey survey = new()
            {
                Source = source,
                Mount = mount,
                Kept = _counts[Standing.Kept],
                Underway = _counts[Standing.Underway],
                Undelivered = _counts[Standing.Undelivered],
                Unconfirmed = _counts[Standing.Unconfirmed],
                Held = _counts[Standing.Held],
                NotTaken = _notTaken,
                Others = _others,
            };
            return survey with
            {
                Wiping = _isBroken ? Wiping.NotKnown : survey.Pictures == 0 ? Wiping.Empty : survey.Kept == survey.Pictures ? Wiping.Safe : Wiping.NotYet,
            };
        }

        private void Walk(string folder)
        {
            cancellation.ThrowIfCancellationRequested();
            List<string> below = [];
            using (FolderReader reader = FolderReader.Open(Places.ToPath(tree.RootPlace, folder), followLink: folder.Length == 0))
            {
                if (!reader.TryStat(out _))
                {
                    _isBroken = true;
                    return;
                }

                while (reader.Read(out ReadOnlySpan<byte> name, out FileKind kind))
                {
                    bool isKnown = reader.TryStat(name, out FileStat stat, out _);
                    kind = isKnown ? stat.Kind : kind;
                    string place = Places.Join(folder, Places.FromBytes(name));
                    if (kind == FileKind.Folder && CaptureNames.OfFolder(name) == NameVerdict.Candidate)
                    {
                        below.Add(place);
                    }
                    else if (kind == FileKind.File)
                    {
                        Count(place, CaptureNames.OfFile(name), stat);
                    }

                    _isBroken |= !isKnown;
                }

                _isBroken |= reader.Error != 0;
            }

            foreach (string inner in below)
            {
                Walk(inner);
            }
        }

        private void Count(string place, NameVerdict name, FileStat stat)
        {
            CaptureStanding[] same = [.. byPlace[place].Where(standing => standing.Size == stat.Size)];
            if (StandingOf(place, stat, same) is { } found)
            {
                _counts[found]++;
            }
            else if (name is NameVerdict.Capture or NameVerdict.Unfinished || (name == NameVerdict.Candidate && byPlace.Contains(place)))
            {
                _notTaken++;
            }
            else if (name is not NameVerdict.Marker)
            {
                _others++;
            }
        }

        /// <summary>A wiped camera uses its names again, so a place may have had several contents; only what is told apart for sure counts.</summary>
        private Standing? StandingOf(string place, FileStat stat, CaptureStanding[] same)
        {
            if (same.Length == 0)
            {
                return null;
            }

            bool isSure = same.Length == 1 && Math.Abs(same[0].ModifiedAt.ToUnixTimeMilliseconds() - stat.ModifiedMs) < 2000;
            if (isSure && !thorough)
            {
                return same[0].Standing;
            }

            string? hash = tree.HashOf(place, cancellation);
            return same.FirstOrDefault(standing => standing.Sha256 == hash)?.Standing;
        }
    }
}
