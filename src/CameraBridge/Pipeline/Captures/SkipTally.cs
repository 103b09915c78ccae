namespace CameraBridge.Pipeline.Captures;

/// <summary>What a scan skipped: counts by reason, the first places of each, and how many were not there before, so that each is said once.</summary>
internal sealed class SkipTally
{
    /// <summary>Places kept for each reason: enough for a person to see what is meant.</summary>
    private const int MostPlaces = 20;

    private readonly SortedDictionary<SkipReason, Row> _rows = [];

    /// <summary>Counts one. True when its place is wanted too, see <see cref="Show"/>: it is among the first.</summary>
    public bool Count(SkipReason reason, bool isNew)
    {
        if (!_rows.TryGetValue(reason, out Row? row))
        {
            _rows.Add(reason, row = new Row());
        }

        row.Count++;
        row.New += isNew ? 1 : 0;
        return row.Places.Count < MostPlaces || (isNew && row.FirstNew is null);
    }

    /// <summary>The place of the one that was counted last.</summary>
    public void Show(SkipReason reason, bool isNew, string place)
    {
        Row row = _rows[reason];
        if (isNew)
        {
            row.FirstNew ??= place;
        }

        if (row.Places.Count < MostPlaces)
        {
            row.Places.Add(place);
        }
    }

    public void Add(SkipReason reason, bool isNew, string place)
    {
        if (Count(reason, isNew))
        {
            Show(reason, isNew, place);
        }
    }

    public IReadOnlyList<SkippedFiles> ToList() => [.. _rows.Select(row => new SkippedFiles(row.Key, row.Value.Count, row.Value.Places))];

    /// <summary>Reasons with places that were not skipped before: how many, and the first of them.</summary>
    public IEnumerable<(SkipReason Reason, int Count, string First)> New() =>
        _rows.Where(row => row.Value.New > 0).Select(row => (row.Key, row.Value.New, row.Value.FirstNew!));

    private sealed class Row
    {
        public int Count { get; set; }

        public int New { get; set; }

        public string? FirstNew { get; set; }

        public List<string> Places { get; } = [];
    }
}
