using System.Collections.Frozen;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Iods;

namespace CameraBridge.Pipeline.Objects.Optics;

/// <summary>
/// Teeth by their designation of ISO 3950 (quadrant, then place from the middle: 11 to 48, deciduous 51 to 85), as the codes of PS3.16 CID 4018 and 4019
/// (edition 2024c). The table teeth.tsv says which is which.
/// </summary>
internal static class Teeth
{
    private static readonly Lazy<FrozenDictionary<string, Code>> Table = new(() => Read().ToFrozenDictionary(pair => pair.Key, pair => pair.Value));

    /// <summary>All designations, in order.</summary>
    public static IEnumerable<string> Designations => Table.Value.Keys.Order(StringComparer.Ordinal);

    /// <summary>The code of a tooth that <see cref="Read(string, out string)"/> took.</summary>
    public static Code CodeOf(string designation) => Table.Value[designation];

    /// <summary>The designation of a code, or null when it is no tooth's.</summary>
    public static string? DesignationOf(string scheme, string value) =>
        Table.Value.FirstOrDefault(pair => pair.Value.Scheme == scheme && pair.Value.Value == value).Key;

    /// <summary>Reads a designation.</summary>
    public static ValueFault? Read(string text, out string kept)
    {
        kept = text.Trim();
        return Table.Value.ContainsKey(kept)
            ? null
            : new ValueFault("is no designation of a tooth", "Write it as ISO 3950 does: 11 to 48, or 51 to 85 for a milk tooth.");
    }

    private static IEnumerable<KeyValuePair<string, Code>> Read()
    {
        using Stream stream = typeof(Teeth).Assembly.GetManifestResourceStream("CameraBridge.Pipeline.Objects.Optics.teeth.tsv")!;
        using var reader = new StreamReader(stream);
        while (reader.ReadLine() is { } line)
        {
            if (line.Length > 0 && line[0] != '#' && line.Split('\t') is [var designation, var value])
            {
                GroupCode code = ContextGroups.Find(4018)!.Codes.Concat(ContextGroups.Find(4019)!.Codes).Single(code => code.Value == value);
                yield return new(designation, new Code(code.Value, code.Scheme, code.Meaning));
            }
        }
    }
}
