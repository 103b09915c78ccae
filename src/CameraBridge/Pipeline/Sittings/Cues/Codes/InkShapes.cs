namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>Connected ink. Keeps its memory from picture to picture; not thread-safe.</summary>
internal sealed class InkShapes
{
    /// <summary>More pieces than this are looked at in no picture.</summary>
    private const int Most = 24;

    private Run[] _runs = new Run[4096];
    private int[] _parents = new int[4096];
    private Bounds[] _bounds = new Bounds[4096];

    /// <summary>The corners of the convex hull of each connected piece of ink that is of some size, neither a line nor a solid area.</summary>
    /// <param name="picture">The picture.</param>
    /// <param name="least">Pixels of the shorter side of the rectangle around it.</param>
    public IReadOnlyList<(int X, int Y)[]> Find(InkPicture picture, int least)
    {
        int count = Connect(picture);
        Array.Clear(_bounds, 0, count);
        var likely = new List<int>();
        for (int i = 0; i < count; i++)
        {
            // Parents come before their children.
            _parents[i] = _parents[_parents[i]];
            _bounds[_parents[i]].Add(_runs[i]);
        }

        for (int i = 0; i < count; i++)
        {
            if (_parents[i] == i && _bounds[i].IsLikely(least))
            {
                likely.Add(i);
            }
        }

        if (likely.Count == 0)
        {
            return [];
        }

        likely.Sort((a, b) => _bounds[b].Ink.CompareTo(_bounds[a].Ink));
        likely.RemoveRange(Math.Min(Most, likely.Count), Math.Max(0, likely.Count - Most));
        var rows = likely.ToDictionary(root => root, _ => new List<Run>());
        for (int i = 0; i < count; i++)
        {
            if (_bounds[_parents[i]].Ink >= _bounds[likely[^1]].Ink && rows.TryGetValue(_parents[i], out List<Run>? own))
            {
                // Runs come row by row, from left to right, and what lies between the ends of a row is no corner.
                Run run = _runs[i];
                if (own.Count > 0 && own[^1].Y == run.Y)
                {
                    own[^1] = own[^1] with { To = run.To };
                }
                else
                {
                    own.Add(run);
                }
            }
        }

        return [.. likely.Select(root => Hull(rows[root]))];
    }

    /// <summary>Finds the runs of ink in all rows, and joins each to those above it.</summary>
    /// <returns>How many.</returns>
    private int Connect(InkPicture picture)
    {
        int count = 0;
        int above = 0;
        for (int y = 0; y < picture.Height; y++)
        {
            ReadOnlySpan<int> turns = picture.Turns(y);
            int first = count;
            int beside = above;
            for (int i = 0; i < turns.Length; i += 2)
            {
                (int from, int at) = (turns[i], turns[i + 1]);
                if (count == _runs.Length)
                {
                    Array.Resize(ref _runs, 2 * count);
                    Array.Resize(ref _parents, 2 * count);
                    Array.Resize(ref _bounds, 2 * count);
                }

                _runs[count] = new Run(y, from, at);
                _parents[count] = count;
                while (beside < first && _runs[beside].To <= from)
                {
                    beside++;
                }

                for (int other = beside; other < first && _runs[other].From < at; other++)
                {
                    int a = Root(count);
                    int b = Root(other);
                    _parents[Math.Max(a, b)] = Math.Min(a, b);
                }

                count++;
            }

            above = first;
        }

        return count;
    }

    private int Root(int at)
    {
        while (_parents[at] != at)
        {
            _parents[at] = _parents[_parents[at]];
            at = _parents[at];
        }

        return at;
    }

    /// <summary>
    /// Andrew's monotone chain (1979), with the rows of the piece for its order: down along its right side and up along its left, the corners of each
    /// row's pixels counted. Counterclockwise with y upwards.
    /// </summary>
    private static (int X, int Y)[] Hull(List<Run> rows)
    {
        var left = new List<(int X, int Y)>();
        var right = new List<(int X, int Y)>();
        foreach (Run row in rows)
        {
            for (int y = row.Y; y <= row.Y + 1; y++)
            {
                Extend(right, (row.To, y), 1);
                Extend(left, (row.From, y), -1);
            }
        }

        left.Reverse();
        return [.. right, .. left];
    }

    /// <summary>Adds a corner below or beside the last one, and drops what no longer stands out.</summary>
    private static void Extend(List<(int X, int Y)> chain, (int X, int Y) point, int side)
    {
        if (chain.Count > 0 && chain[^1].Y == point.Y)
        {
            if (side * (point.X - chain[^1].X) <= 0)
            {
                return;
            }

            chain.RemoveAt(chain.Count - 1);
        }

        while (chain.Count >= 2 && side * Cross(chain[^2], chain[^1], point) <= 0)
        {
            chain.RemoveAt(chain.Count - 1);
        }

        chain.Add(point);
    }

    private static long Cross((int X, int Y) a, (int X, int Y) b, (int X, int Y) c) => ((long)(b.X - a.X) * (c.Y - a.Y)) - ((long)(b.Y - a.Y) * (c.X - a.X));

    private readonly record struct Run(int Y, int From, int To);

    /// <summary>The rectangle around a piece, kept at its first run.</summary>
    private struct Bounds
    {
        private int _left;
        private int _right;
        private int _top;
        private int _bottom;

        public int Ink { get; private set; }

        public void Add(Run run)
        {
            _left = Ink == 0 ? run.From : Math.Min(_left, run.From);
            _top = Ink == 0 ? run.Y : _top;
            _right = Math.Max(_right, run.To);
            _bottom = run.Y + 1;
            Ink += run.To - run.From;
        }

        public readonly bool IsLikely(int least)
        {
            int width = _right - _left;
            int height = _bottom - _top;
            return Math.Min(width, height) >= least && Math.Max(width, height) <= 5 * Math.Min(width, height)
                && Ink > 0.08 * width * height && Ink < 0.8 * width * height;
        }
    }
}
