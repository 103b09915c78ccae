using CameraBridge.Dicom.Iods;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Conformance;

/// <summary>Each class, module and attribute: always, when known, never, and why.</summary>
internal static class CoverageText
{
    public static string Write(OpticsTable optics)
    {
        IReadOnlyList<ClassSurvey> surveys = ClassSurvey.Make(optics);
        return Markdown.Fill(Markdown.Resource("coverage.md"), new Dictionary<string, string>(StringComparer.Ordinal)
        {
            ["classes"] = Markdown.Table(
                ["Column", "Class of object", "IOD", "Optics"],
                surveys.Select(survey => (IReadOnlyList<string>)
                    [AttributeTables.ShortName(survey.Class), survey.Iod.Name, $"PS3.3 {survey.Iod.Section}", string.Join(", ", survey.Optics.Order(StringComparer.Ordinal))])),
            ["summary"] = Summary(surveys),
            ["modules"] = string.Join('\n', ModuleRows.Modules(surveys).Select(module => Section(module, surveys))),
        });
    }

    /// <summary>Attributes that are in no object of a class although the class has the module as mandatory, with the reason or null.</summary>
    public static IEnumerable<(string Iod, ModuleRow Row, string? Reason)> NeverThoughMandatory(IReadOnlyList<ClassSurvey> surveys) =>
        from module in ModuleRows.Modules(surveys)
        from row in ModuleRows.Of(module, surveys)
        from survey in surveys
        where ModuleRows.UseOf(survey, module) == 'M' && IsNever(row, survey)
        select (survey.Iod.Name, row, AbsentReasons.Own.Find(module.Name, row.Path));

    private static string Summary(IReadOnlyList<ClassSurvey> surveys) => Markdown.Table(
        ["Class of object", "Modules", "used", "Attributes of the used ones", "always", "empty when unknown", "when known", "never"],
        surveys.Select(survey =>
        {
            ModuleTable[] modules = [.. survey.Iod.Modules.Select(use => use.Module)];
            ModuleTable[] used = [.. modules.Where(module => IsUsed(module, survey))];
            Presence[] found = [.. used.SelectMany(module => ModuleRows.Of(module, [survey])).DistinctBy(row => row.Path).Select(row => survey.PresenceOf(row.Path))];
            return (IReadOnlyList<string>)
            [
                survey.Iod.Name, $"{modules.Length}", $"{used.Length}", $"{found.Length}", $"{found.Count(one => one == Presence.Always)}",
                $"{found.Count(one => one is Presence.Vnap or Presence.Empty)}", $"{found.Count(one => one is Presence.Anap or Presence.AnapEmpty)}", $"{found.Count(one => one == Presence.Never)}",
            ];
        }));

    private static string Section(ModuleTable module, IReadOnlyList<ClassSurvey> all)
    {
        ClassSurvey[] surveys = [.. all.Where(survey => ModuleRows.UseOf(survey, module) is not null)];
        string head = $"### {module.Name} ({module.Section})\n\nUse: {string.Join(", ", surveys.Select(survey => $"{AttributeTables.ShortName(survey.Class)} {ModuleRows.UseOf(survey, module)}"))}.\n";
        ModuleRow[] rows = [.. ModuleRows.Of(module, surveys)];
        ClassSurvey[] users = [.. surveys.Where(survey => IsUsed(module, survey))];
        if (users.Length == 0)
        {
            return $"{head}Never used: {AbsentReasons.Own.OfModule(module.Name) ?? "no reason is given."}\n\nIts attributes: {string.Join(", ", rows.Select(row => row.Indented))}.\n";
        }

        string table = Markdown.Table(
            ["Attribute", "Type", .. surveys.Select(survey => AttributeTables.ShortName(survey.Class)), "Where from"],
            rows.Where(row => ModuleRows.IsEver(row, surveys)).Select(row => (IReadOnlyList<string>)
                [row.Indented, row.Row.TypeText, .. surveys.Select(survey => Cell(row, survey)), OriginText.Of(row.Path, surveys)]));
        return $"{head}\n{table}{Never(rows, surveys)}";
    }

    private static string Never(IEnumerable<ModuleRow> rows, ClassSurvey[] surveys)
    {
        var reasons = rows
            .Select(row => (Row: row, In: surveys.Where(survey => IsNever(row, survey)).ToArray()))
            .Where(never => never.In.Length > 0)
            .GroupBy(never => (
                Why: AbsentReasons.Own.Find(never.Row.Module, never.Row.Path) ?? "no reason is given.",
                In: never.In.Length == surveys.Length ? "" : string.Join(", ", never.In.Select(survey => AttributeTables.ShortName(survey.Class)))))
            .ToArray();
        return reasons.Length == 0 ? "" : $"\nNever:\n\n{string.Concat(reasons.Select(group =>
            $"* {(group.Key.In.Length == 0 ? "" : $"in {group.Key.In}: ")}{string.Join(", ", group.Select(never => $"{never.Row.Indented} ({never.Row.Row.TypeText})"))}: {group.Key.Why}\n"))}";
    }

    private static bool IsNever(ModuleRow row, ClassSurvey survey)
    {
        // What stands below a sequence that is never there needs no word of its own.
        int above = row.Path.LastIndexOf(AttributePaths.Step);
        return survey.PresenceOf(row.Path) == Presence.Never && (above < 0 || survey.PresenceOf(row.Path[..above]) != Presence.Never);
    }

    /// <summary>Mandatory ones always; others when any attribute is there that shows their use.</summary>
    private static bool IsUsed(ModuleTable module, ClassSurvey survey)
    {
        ModuleUse use = survey.Iod.Modules.First(one => one.Module.Name == module.Name);
        return use.Usage == 'M' || use.Signs.Any(sign => survey.PresenceOf(AttributePaths.KeywordOf(sign)) != Presence.Never);
    }

    private static string Cell(ModuleRow row, ClassSurvey survey) => survey.PresenceOf(row.Path) switch
    {
        Presence.Never => "never",
        Presence.Anap => "when known",
        Presence.AnapEmpty => "sometimes, empty",
        Presence.Vnap => "empty when unknown",
        Presence.Empty => "always empty",
        _ => "always",
    };
}
