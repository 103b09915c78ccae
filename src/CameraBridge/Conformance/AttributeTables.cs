using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Conformance;

/// <summary>The attributes of the created objects, module by module, for the conformance statement.</summary>
internal static class AttributeTables
{
    /// <summary>Short names of the classes for the heads of columns.</summary>
    public static string ShortName(OpticClass one) => (one.Word, one.Kind) switch
    {
        ("endoscopic", CaptureKind.Still) => "ES still",
        ("photographic", CaptureKind.Still) => "XC still",
        ("dermoscopic", _) => "DMS still",
        ("ophthalmic", _) => "OP still",
        ("endoscopic", _) => "ES clip",
        _ => "XC clip",
    };

    public static string Write(IReadOnlyList<ClassSurvey> surveys)
    {
        var told = new HashSet<string>(StringComparer.Ordinal);
        var sections = new List<string>();
        foreach (ModuleTable module in ModuleRows.Modules(surveys))
        {
            ModuleRow[] rows = [.. ModuleRows.Of(module, surveys).Where(row => ModuleRows.IsEver(row, surveys) && told.Add(row.Path))];
            if (rows.Length > 0)
            {
                sections.Add($"**{module.Name}** ({module.Section})\n\n{Table(rows.Select(row => (row.Indented, row.Row.Tag, row.Path)), surveys)}");
            }
        }

        if (Foreign(surveys) is { Length: > 0 } foreign)
        {
            sections.Add($"**In none of the modules of this edition**\n\n{Table(foreign, surveys)}");
        }

        return string.Join('\n', sections);
    }

    /// <summary>Attributes of the top level that no module of their class has.</summary>
    public static (string Keyword, Tag Tag, string Path)[] Foreign(IReadOnlyList<ClassSurvey> surveys) =>
    [
        .. surveys.SelectMany(survey => survey.Paths.Where(path => !path.Contains(AttributePaths.Step) && !survey.Iod.Modules.Any(use => use.Module.Rows.Find(TagOf(path)) is not null)))
            .Distinct(StringComparer.Ordinal).Order(StringComparer.Ordinal).Select(path => (path, TagOf(path), path)),
    ];

    private static Tag TagOf(string keyword) => TagDictionary.Find(keyword)?.Tag ?? default;

    private static string Table(IEnumerable<(string Name, Tag Tag, string Path)> rows, IReadOnlyList<ClassSurvey> surveys) => Markdown.Table(
        ["Attribute", "Tag", "VR", .. surveys.Select(survey => ShortName(survey.Class)), "Source"],
        rows.Select(row => (IReadOnlyList<string>)
        [
            row.Name, row.Tag.ToString(), $"{TagDictionary.VrOf(row.Tag)}", .. surveys.Select(survey => PresenceCounts.Word(survey.PresenceOf(row.Path))), OriginText.Of(row.Path, surveys),
        ]));
}
