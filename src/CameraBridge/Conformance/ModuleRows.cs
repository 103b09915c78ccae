using CameraBridge.Dicom.Iods;

namespace CameraBridge.Conformance;

/// <summary>An attribute of a module with its path in the object.</summary>
/// <param name="Module">Name of the module.</param>
/// <param name="Row">Its row.</param>
/// <param name="Path">As in <see cref="AttributePaths"/>.</param>
internal sealed record ModuleRow(string Module, AttributeRow Row, string Path)
{
    public int Depth => Path.Count(letter => letter == AttributePaths.Step);

    /// <summary>">>Code Meaning", as module tables of PS3.3 are indented.</summary>
    public string Indented => new string(AttributePaths.Step, Depth) + Row.Keyword;
}

/// <summary>The modules that the surveyed classes have, in the order of their tables, and their attributes that need telling.</summary>
internal static class ModuleRows
{
    /// <summary>
    /// Attributes of the code macro (PS3.3 Table 8.8-1), told once: a code here is its value, scheme and meaning, and the scheme's version where the
    /// worklist gives it.
    /// </summary>
    public static readonly IReadOnlySet<string> OfCodes = new HashSet<string>(StringComparer.Ordinal)
    {
        "CodeValue", "LongCodeValue", "URNCodeValue", "CodingSchemeDesignator", "CodingSchemeVersion", "CodeMeaning", "EquivalentCodeSequence", "ContextIdentifier",
        "ContextUID", "MappingResource", "MappingResourceUID", "MappingResourceName", "ContextGroupVersion", "ContextGroupExtensionFlag",
        "ContextGroupLocalVersion", "ContextGroupExtensionCreatorUID",
    };

    /// <summary>Every module of the classes, once.</summary>
    public static IEnumerable<ModuleTable> Modules(IReadOnlyList<ClassSurvey> surveys) =>
        surveys.SelectMany(survey => survey.Iod.Modules).Select(use => use.Module).DistinctBy(module => module.Name);

    /// <summary>The class's use of a module: M, C or U; null when it has none.</summary>
    public static char? UseOf(ClassSurvey survey, ModuleTable module) => survey.Iod.Modules.FirstOrDefault(use => use.Module.Name == module.Name)?.Usage;

    /// <summary>
    /// The attributes of a module, nested ones below their sequence; below a sequence that no object has nothing more is told.
    /// </summary>
    public static IEnumerable<ModuleRow> Of(ModuleTable module, IReadOnlyList<ClassSurvey> surveys) => Of(module.Name, module.Rows, "", surveys);

    /// <summary>True when any object of a class that has the module has the attribute.</summary>
    public static bool IsEver(ModuleRow row, IReadOnlyList<ClassSurvey> surveys) => surveys.Any(survey => survey.PresenceOf(row.Path) != Presence.Never);

    private static IEnumerable<ModuleRow> Of(string module, RowSet rows, string above, IReadOnlyList<ClassSurvey> surveys)
    {
        bool isCode = above.Length > 0 && rows.Any(row => row.Keyword == "CodeMeaning") && rows.Any(row => row.Keyword == "CodingSchemeDesignator");
        foreach (AttributeRow row in rows.DistinctBy(row => row.Keyword))
        {
            if (isCode && OfCodes.Contains(row.Keyword))
            {
                continue;
            }

            var told = new ModuleRow(module, row, above + row.Keyword);
            yield return told;
            if (row.Rows.Count > 0 && IsEver(told, surveys))
            {
                foreach (ModuleRow inner in Of(module, row.Rows, told.Path + AttributePaths.Step, surveys))
                {
                    yield return inner;
                }
            }
        }
    }
}
