using System.Diagnostics.CodeAnalysis;
using CameraBridge.Configuration;

namespace CameraBridge.Pipeline.Objects.Optics;

/// <summary>The optics that are known: those that the program comes with (optics.yaml), changed and joined by those of the site.</summary>
internal sealed class OpticsTable
{
    private readonly Dictionary<string, Optic> byName;

    /// <param name="optics">In order; a later one takes the place of an earlier one of the same name.</param>
    public OpticsTable(IEnumerable<Optic> optics)
    {
        byName = new Dictionary<string, Optic>(StringComparer.Ordinal);
        foreach (Optic optic in optics)
        {
            byName[optic.Name] = optic;
        }
    }

    private static readonly Lazy<OpticsTable> OwnTable = new(ReadOwn);

    /// <summary>The table that the program comes with.</summary>
    public static OpticsTable Own => OwnTable.Value;

    /// <summary>Names of all optics, in the order of the alphabet.</summary>
    public IEnumerable<string> Names => byName.Keys.Order(StringComparer.Ordinal);

    public IEnumerable<Optic> All => byName.Values;

    /// <summary>The optic with this name, or false.</summary>
    public bool TryFind(string name, [NotNullWhen(true)] out Optic? optic) => byName.TryGetValue(name, out optic);

    /// <summary>This table with an optic more, or another one under its name.</summary>
    public OpticsTable With(Optic optic) => new([.. byName.Values, optic]);

    private static OpticsTable ReadOwn()
    {
        using Stream stream = typeof(OpticsTable).Assembly.GetManifestResourceStream("CameraBridge.Pipeline.Objects.Optics.optics.yaml")!;
        using var reader = new StreamReader(stream);
        var log = new SettingLog("optics.yaml");
        OpticsTable table = OpticReader.Read(new SettingReader(log, "", YamlTree.Parse(reader.ReadToEnd())), new OpticsTable([]), log);
        return log.Problems is [var first, ..] ? throw new InvalidOperationException($"The program's own table is wrong: {first}") : table;
    }
}
