namespace CameraBridge.Conformance;

/// <summary>Why an attribute is in no object (absent.tsv): by module and path, else by keyword in any module, else for the whole module.</summary>
internal sealed class AbsentReasons
{
    private readonly Dictionary<(string Module, string Path), string> reasons = [];

    private AbsentReasons()
    {
        string[] lines = Markdown.Resource("absent.tsv").Split('\n');
        for (int number = 1; number <= lines.Length; number++)
        {
            string line = lines[number - 1];
            if (line.Length == 0 || line[0] == '#')
            {
                continue;
            }

            string[] cells = line.Split('\t');
            if (cells.Length != 3)
            {
                throw new InvalidOperationException(FormattableString.Invariant($"absent.tsv, line {number}: needs a module, attributes and a reason, with tabs between."));
            }

            foreach (string path in cells[1].Split(','))
            {
                if (!reasons.TryAdd((cells[0], path), cells[2]))
                {
                    throw new InvalidOperationException(FormattableString.Invariant($"absent.tsv, line {number}: {path} of {cells[0]} stands there twice."));
                }
            }
        }
    }

    /// <summary>Stands for every module, or for every attribute of one.</summary>
    public const string Any = "*";

    public static AbsentReasons Own { get; } = new();

    /// <summary>Module and path of every row.</summary>
    public IEnumerable<(string Module, string Path)> All => reasons.Keys;

    /// <summary>The reason, or null when nobody has given one.</summary>
    public string? Find(string module, string path)
    {
        string keyword = path[(path.LastIndexOf(AttributePaths.Step) + 1)..];
        return reasons.GetValueOrDefault((module, path))
            ?? reasons.GetValueOrDefault((module, keyword))
            ?? reasons.GetValueOrDefault((Any, keyword))
            ?? reasons.GetValueOrDefault((module, Any));
    }

    /// <summary>Why a whole module is not used.</summary>
    public string? OfModule(string module) => reasons.GetValueOrDefault((module, Any));
}
