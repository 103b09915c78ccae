namespace CameraBridge.Conformance;

/// <summary>Whether an attribute is in the objects of a class, or in a message, in the words of PS3.2.</summary>
internal enum Presence
{
    /// <summary>In no object.</summary>
    Never,

    /// <summary>In some objects: "attribute not always present".</summary>
    Anap,

    /// <summary>In some objects, never with a value.</summary>
    AnapEmpty,

    /// <summary>In every object, in some or all without a value: "value not always present".</summary>
    Vnap,

    /// <summary>In every object without a value.</summary>
    Empty,

    /// <summary>In every object with a value.</summary>
    Always,
}

/// <summary>Counts in how many of several data sets an attribute is, with a value and without.</summary>
internal sealed class PresenceCounts
{
    private readonly Dictionary<string, (int With, int Without)> counts = new(StringComparer.Ordinal);
    private int dataSets;

    /// <summary>Paths of all attributes that are in any of them.</summary>
    public IEnumerable<string> Paths => counts.Keys;

    /// <param name="attributes">As of <see cref="AttributePaths.Of"/>.</param>
    public void Add(IReadOnlyDictionary<string, string> attributes)
    {
        dataSets++;
        foreach ((string path, string content) in attributes)
        {
            (int with, int without) = counts.GetValueOrDefault(path);
            counts[path] = content.Length > 0 ? (with + 1, without) : (with, without + 1);
        }
    }

    /// <summary>Below a sequence, of the data sets that have the sequence with items.</summary>
    public Presence Of(string path)
    {
        if (!counts.TryGetValue(path, out (int With, int Without) count))
        {
            return Presence.Never;
        }

        int above = path.LastIndexOf(AttributePaths.Step) is > 0 and var at ? counts[path[..at]].With : dataSets;
        return count.With + count.Without < above ? (count.With > 0 ? Presence.Anap : Presence.AnapEmpty)
            : count.With == 0 ? Presence.Empty
            : count.Without > 0 ? Presence.Vnap
            : Presence.Always;
    }

    /// <summary>The word of the tables; empty for never.</summary>
    public static string Word(Presence presence) => presence switch
    {
        Presence.Never => "",
        Presence.Anap => "ANAP",
        Presence.AnapEmpty => "ANAP EMPTY",
        Presence.Vnap => "VNAP",
        Presence.Empty => "EMPTY",
        _ => "ALWAYS",
    };
}
