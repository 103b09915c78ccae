using System.Globalization;
using CameraBridge.Configuration;

namespace CameraBridge.Pipeline.Objects.Optics;

/// <summary>
/// The vocabulary of an optic: the same in the program's own table and under "optics" of a site's configuration. What an entry does not say is as with the
/// optic that it is "like", or else the one that has its name already.
/// </summary>
internal static class OpticReader
{
    private const string None = "none";

    /// <summary>Reads the list under "optics" and joins it with a table.</summary>
    /// <param name="root">The map that holds the list.</param>
    /// <param name="before">What entries may be like, and what they change.</param>
    /// <param name="log">Takes what does not go together.</param>
    public static OpticsTable Read(SettingReader root, OpticsTable before, SettingLog log)
    {
        OpticsTable table = before;
        var names = new List<string>();
        root.List("optics", entry =>
        {
            Optic optic = ReadOptic(entry, table);
            int first = names.IndexOf(optic.Name);
            names.Add(optic.Name);
            string path = Path(names.Count);
            if (first >= 0 && optic.Name.Length > 0)
            {
                log.ReportAt($"{path}.name", new ValueFault($"is the name of {Path(first + 1)} too", "Give each its own."));
            }

            OpticRules.Check(optic, path, log);
            table = optic.Name.Length > 0 ? table.With(optic) : table;
            return optic;
        });
        return table;
    }

    private static string Path(int number) => string.Create(CultureInfo.InvariantCulture, $"optics[{number}]");

    private static Optic ReadOptic(SettingReader reader, OpticsTable table)
    {
        string name = reader.NeedText("name", "Give the optic a short name; sources and sidecars use it.", SettingValues.Name);
        string like = reader.Get("like", "", (string text, out string value) => Known(value = text, table), value => value);

        // A "like" that names nothing is told as such; that what it would have given is missing would only be noise.
        Optic? below = table.TryFind(like.Length > 0 ? like : name, out Optic? found) ? found : reader.Has("like") ? table.All.FirstOrDefault() : null;
        return new Optic
        {
            Name = name,
            Title = reader.Text("title", 64, below?.Title),
            Still = ReadClass(reader, "still", CaptureKind.Still, below?.Still),
            Clip = ReadClass(reader, "clip", CaptureKind.Clip, below?.Clip),
            BodySites = reader.Many("body_sites", below?.BodySites ?? [], Group, group => group.ToString(CultureInfo.InvariantCulture)),
            Needs = reader.Many("needs", below?.Needs ?? [], Need, need => need),
            With = reader.Many("with", below?.With ?? [], (string text, out string value) => SettingValues.Name(value = text), value => value),
            Always = ReadPart(reader, below?.Always ?? OpticPart.Empty),
            Options = ReadOptions(reader, below?.Options ?? []),
        };
    }

    private static ValueFault? Known(string text, OpticsTable table) => table.TryFind(text, out _)
        ? null
        : new ValueFault(
            "is not in the optics table, nor an optic above",
            NearestWord.Of(text, table.Names) is { } nearest ? $"Did you mean {nearest}?" : $"Optics are {string.Join(", ", table.Names)}.");

    private static OpticClass ReadClass(SettingReader reader, string key, CaptureKind kind, OpticClass? below)
    {
        string[] words = [.. OpticClass.All.Where(one => one.Kind == kind).Select(one => one.Word)];
        ReadValue<OpticClass> read = (string text, out OpticClass value) =>
        {
            OpticClass? found = OpticClass.Find(text.Trim(), kind);
            value = found ?? OpticClass.All[0];
            return found is null ? new ValueFault("is no class that objects are made of", $"Write one of {string.Join(", ", words)}.") : null;
        };
        return below is null
            ? reader.Need(key, OpticClass.Find("photographic", kind)!, $"Write one of {string.Join(", ", words)}, or name an optic that this one is like.", read, value => value.Word)
            : reader.Get(key, below, read, value => value.Word);
    }

    private static OpticPart ReadPart(SettingReader reader, OpticPart below)
    {
        OpticValues values = below.Values;
        foreach (ValueKey key in ValueKeys.All)
        {
            IReadOnlyList<string> before = below.Values.All(key.Name);
            if (!ValueKeys.IsOfPicture(key.Name) && (reader.Asks(key.Name) || before.Count > 0))
            {
                values = values.With(key.Name, ReadValues(reader, key, before));
            }
        }

        IReadOnlyList<ContextItem> context = reader.List("context", ReadContext);
        IReadOnlyList<OpticDevice> devices = reader.List("devices", ReadDevice);
        return new OpticPart(values, reader.Has("context") ? context : below.Context, reader.Has("devices") ? devices : below.Devices);
    }

    /// <summary>The word "none" takes away what the optic would have from the one it is like.</summary>
    private static IReadOnlyList<string> ReadValues(SettingReader reader, ValueKey key, IReadOnlyList<string> before)
    {
        ReadValue<string> read = (string text, out string kept) =>
        {
            kept = "";
            return text == None ? null : key.Read(text, out kept);
        };
        IReadOnlyList<string> read1 = key.IsMany
            ? reader.Many(key.Name, before, read, value => value)
            : [reader.Get(key.Name, before.Count > 0 ? before[0] : "", read, value => value)];
        return [.. read1.Where(value => value.Length > 0)];
    }

    private static IReadOnlyList<OpticOption> ReadOptions(SettingReader reader, IReadOnlyList<OpticOption> below)
    {
        IReadOnlyList<OpticOption> own = reader.List("options", option => new OpticOption(
            option.NeedText("name", "Give the option a short name; \"with\" uses it.", SettingValues.Name), ReadPart(option, OpticPart.Empty)));
        return [.. below.Where(one => !own.Any(mine => mine.Name == one.Name)), .. own];
    }

    private static ContextItem ReadContext(SettingReader reader)
    {
        Code concept = NeedCode(reader, "concept", "Write what is told, as 'value|scheme|meaning'.");
        string? text = reader.Text("text", 1024);
        decimal? number = reader.Get<decimal?>("number", null, Decimal, value => value?.ToString(CultureInfo.InvariantCulture) ?? "");
        string value = reader.Get("code", "", WholeCode, code => code);
        string unit = number is null
            ? ""
            : reader.Need("unit", "", "Write the unit as 'value|UCUM|meaning', for example 'mm|UCUM|millimeter'.", WholeCode, code => code);
        if (text is null && number is null && value.Length == 0)
        {
            reader.Need("text", "", "Write a text, a code, or a number with its unit.", (string written, out string kept) => SettingValues.Name(kept = written), kept => kept);
        }

        return new ContextItem(concept, text, Parsed(value), number, Parsed(unit));
    }

    private static OpticDevice ReadDevice(SettingReader reader) => new(
        NeedCode(reader, "kind", "Write what it is, as 'value|scheme|meaning'."),
        reader.Text("manufacturer"),
        reader.Text("model"),
        reader.Text("serial_number"),
        reader.Text("description"));

    private static Code NeedCode(SettingReader reader, string key, string why) => Parsed(reader.Need(key, "", why, WholeCode, code => code)) ?? default;

    private static Code? Parsed(string text) => Code.TryParse(text, out Code code) ? code : null;

    private static ValueFault? WholeCode(string text, out string kept)
    {
        bool fits = Code.TryParse(text, out Code code);
        kept = fits ? code.ToString() : "";
        return fits ? null : new ValueFault("is no code", "Write it as 'value|scheme|meaning', for example '37270008|SCT|Endoscope'.");
    }

    private static ValueFault? Decimal(string text, out decimal? number)
    {
        bool fits = decimal.TryParse(text, NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint, CultureInfo.InvariantCulture, out decimal value);
        number = fits ? value : null;
        return fits ? null : new ValueFault("is no number", "Write digits, with a point before decimals.");
    }

    private static ValueFault? Group(string text, out int group) =>
        int.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out group) && ValueKeys.AnyBodySite.Contains(group)
            ? null
            : new ValueFault(
                "is no context group of body sites that the program has",
                $"Write one or more of {string.Join(", ", ValueKeys.AnyBodySite.Select(known => known.ToString(CultureInfo.InvariantCulture)))}.");

    private static ValueFault? Need(string text, out string need)
    {
        need = text.Trim();
        if (EquipmentNeeds.All.Contains(need) || ValueKeys.Find(need) is not null)
        {
            return null;
        }

        string[] known = [.. ValueKeys.All.Select(key => key.Name), .. EquipmentNeeds.All];
        return new ValueFault(
            "is nothing that can be known of a picture",
            NearestWord.Of(need, known) is { } nearest ? $"Did you mean {nearest}?" : $"Write one or more of {string.Join(", ", known)}.");
    }
}
