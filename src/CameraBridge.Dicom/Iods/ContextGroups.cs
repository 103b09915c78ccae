using System.Collections.Frozen;
using System.Globalization;

namespace CameraBridge.Dicom.Iods;

/// <summary>A context group of PS3.16.</summary>
/// <param name="Number">Its number (CID).</param>
/// <param name="Name">Its name.</param>
/// <param name="IsExtensible">Whether others may add codes; from memory.</param>
/// <param name="Codes">Its codes.</param>
public sealed record ContextGroup(int Number, string Name, bool IsExtensible, IReadOnlyList<GroupCode> Codes)
{
    private readonly FrozenSet<(string, string)> pairs = Codes.Select(code => (code.Scheme, code.Value)).ToFrozenSet();

    /// <summary>True when the group has the code.</summary>
    public bool Has(string scheme, string value) => pairs.Contains((scheme, value));
}

/// <summary>A code of a context group.</summary>
/// <param name="Value">Code Value.</param>
/// <param name="Scheme">Coding Scheme Designator.</param>
/// <param name="Meaning">Code Meaning in the standard's words.</param>
public sealed record GroupCode(string Value, string Scheme, string Meaning);

/// <summary>The context groups that the code sequences of these IODs name, from context-groups.tsv.</summary>
public static class ContextGroups
{
    private static readonly Lazy<FrozenDictionary<int, ContextGroup>> ByNumber = new(() => Read().ToFrozenDictionary(group => group.Number));

    /// <summary>The group, or null when the library does not have its codes.</summary>
    public static ContextGroup? Find(int number) => ByNumber.Value.GetValueOrDefault(number);

    /// <summary>All groups.</summary>
    public static IEnumerable<ContextGroup> All => ByNumber.Value.Values;

    private static IEnumerable<ContextGroup> Read()
    {
        using Stream stream = typeof(ContextGroups).Assembly.GetManifestResourceStream("CameraBridge.Dicom.Iods.context-groups.tsv")!;
        using var reader = new StreamReader(stream);
        (int Number, string Name, bool IsExtensible) head = (0, "", false);
        var codes = new List<GroupCode>();
        while (reader.ReadLine() is { } line)
        {
            switch (line.Split('\t'))
            {
                case ["group", var number, var name, var extensible]:
                    if (codes.Count > 0)
                    {
                        yield return new ContextGroup(head.Number, head.Name, head.IsExtensible, codes);
                    }

                    head = (int.Parse(number, CultureInfo.InvariantCulture), name, extensible == "extensible");
                    codes = [];
                    break;
                case [var value, var scheme, var meaning]:
                    codes.Add(new GroupCode(value, scheme, meaning));
                    break;
            }
        }

        yield return new ContextGroup(head.Number, head.Name, head.IsExtensible, codes);
    }
}
