using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Conformance;

/// <summary>Where an attribute's value comes from, in one cell of a table.</summary>
internal static class OriginText
{
    /// <summary>What the abbreviations mean; the first ones are those of PS3.2.</summary>
    public static readonly IReadOnlyList<(string Word, string Meaning)> Legend =
    [
        (Origin.Worklist, "the worklist's answer; where the key there has another name, it is given"),
        (Origin.Configuration, "the site's configuration; the setting is given"),
        (Origin.Said, "said of the picture: by a person (`held assign --say`), a sidecar file, the order's codes, or the optic's row of the optics table, in this order; the key is given"),
        (Origin.Optic, "the optic's row of the optics table"),
        (Origin.Picture, "the camera's file: its bit stream, or its Exif where noted"),
        (Origin.Time, "when it was taken, by the camera's own time, corrected where its clock is known"),
        (Origin.Made, "made by the program"),
        ("fixed", "the same in all objects of the class"),
    ];

    public static string Of(string path, IReadOnlyList<ClassSurvey> surveys)
    {
        string keyword = path[(path.LastIndexOf(AttributePaths.Step) + 1)..];
        SortedSet<string> all = new(surveys.Where(survey => survey.PresenceOf(path) != Presence.Never).SelectMany(survey => survey.OriginsOf(path)), StringComparer.Ordinal);
        if (all.Count == 0)
        {
            return TagDictionary.Find(keyword)?.Vr == Vr.SQ ? "its items" : surveys.Any(survey => survey.PresenceOf(path) is Presence.Always or Presence.Anap or Presence.Vnap) ? "fixed" : "";
        }

        return string.Join("; ", all.GroupBy(Kind).OrderBy(Order).Select(group => Cell(group.Key, [.. group.Select(What).Where(what => what != keyword)])));
    }

    private static string Kind(string origin) => origin.Split(' ', 2)[0];

    private static int Order(IGrouping<string, string> group) => Legend.Select((entry, place) => (entry.Word, place)).First(entry => entry.Word == group.Key).place;

    /// <summary>A key of the worklist by its own keyword, a code by its sequence: what it stands in is told with the keys.</summary>
    private static string What(string origin)
    {
        if (origin.Split(' ', 2) is not [_, var what])
        {
            return "";
        }

        string[] parts = what.Split(AttributePaths.Step);
        return parts.Length > 1 && ModuleRows.OfCodes.Contains(parts[^1]) ? parts[^2] : parts[^1];
    }

    private static string Cell(string kind, string[] what)
    {
        string[] told = [.. what.Where(one => one.Length > 0).Distinct().Order(StringComparer.Ordinal)];
        return told.Length == 0 ? kind : $"{kind} {string.Join(", ", told)}";
    }
}
