namespace CameraBridge.Dicom.Dictionary;

/// <summary>A row of the registry of unique identifiers (PS3.6 Annex A, edition 2025e).</summary>
/// <param name="Uid">The identifier.</param>
/// <param name="Keyword">The keyword; empty where the standard withdrew it.</param>
/// <param name="Type">The kind as named there: "SOP Class", "Transfer Syntax", "Well-known SOP Instance", ...</param>
/// <param name="Name">The name.</param>
/// <param name="Retired">True when marked as retired.</param>
public sealed record UidEntry(string Uid, string Keyword, string Type, string Name, bool Retired);

/// <summary>The registry of unique identifiers: PS3.6 Annex A, edition 2025e, 492 rows.</summary>
public static class UidRegistry
{
    private static readonly Lazy<Dictionary<string, UidEntry>> Entries = new(Read);

    /// <summary>All rows.</summary>
    public static IReadOnlyCollection<UidEntry> All => Entries.Value.Values;

    /// <summary>The row of this identifier, or null.</summary>
    public static UidEntry? Find(string uid)
    {
        ArgumentNullException.ThrowIfNull(uid);
        return Entries.Value.GetValueOrDefault(uid);
    }

    /// <summary>The name for messages: the registry's name, or the identifier itself when it is not there.</summary>
    public static string NameOf(string uid) => Find(uid)?.Name ?? uid;

    private static Dictionary<string, UidEntry> Read()
    {
        RegistryText text = RegistryText.Load("uids.tsv");
        var entries = new Dictionary<string, UidEntry>(text.Count, StringComparer.Ordinal);
        for (int row = 0; row < text.Count; row++)
        {
            string uid = text.Text(row, 0);
            entries.Add(uid, new UidEntry(uid, text.Text(row, 3), string.Intern(text.Text(row, 1)), text.Text(row, 4), text.Column(row, 2) is [(byte)'R']));
        }

        return entries;
    }
}
