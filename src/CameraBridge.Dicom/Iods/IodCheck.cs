using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Iods;

/// <summary>
/// Checks a data set against the tables of its IOD: types 1, 1C, 2 and 2C, enumerated values, numbers of items (PS3.3); value representation,
/// multiplicity, length and characters of every element (PS3.5, PS3.6); and that attributes agree with each other and with the encoding.
/// Findings, not exceptions; an object without an error may leave.
/// </summary>
public static class IodCheck
{
    internal const string UnknownClass = "iod.unknown";

    /// <summary>Checks a data set.</summary>
    /// <param name="dataSet">The whole data set, without file meta information.</param>
    /// <param name="transferSyntax">How it is, or will be, encoded.</param>
    /// <returns>The findings; empty when there is nothing to say.</returns>
    public static IReadOnlyList<Finding> Check(DataSet dataSet, TransferSyntax transferSyntax) => Check(dataSet, transferSyntax, null);

    /// <summary>Checks a data set, and tells what could not be judged.</summary>
    /// <param name="dataSet">The whole data set, without file meta information.</param>
    /// <param name="transferSyntax">How it is, or will be, encoded.</param>
    /// <param name="untestable">Gets the rules that the object alone cannot answer.</param>
    /// <returns>The findings; empty when there is nothing to say.</returns>
    public static IReadOnlyList<Finding> Check(DataSet dataSet, TransferSyntax transferSyntax, ICollection<Untestable>? untestable)
    {
        ArgumentNullException.ThrowIfNull(dataSet);
        ArgumentNullException.ThrowIfNull(transferSyntax);
        var findings = new FindingList();
        string? SOPClassUID = ElementText.First(dataSet[Tags.SOPClassUID]);
        Iod? iod = IodTables.Find(SOPClassUID);
        if (iod is null)
        {
            findings.Add(Severity.Error, UnknownClass, null, "SOPClassUID", "PS3.3 A", SOPClassUID ?? "nothing", "the UID of a class that has a table");
        }
        else
        {
            new ModuleWalk(dataSet, transferSyntax.Uid, findings, untestable).Check(iod);
        }

        ElementRules.Check(dataSet, findings);
        ImageRules.Check(dataSet, transferSyntax, findings);
        return findings.All;
    }
}

/// <summary>Where in a data set: an item of a sequence, its number from 1, and where that sequence is. Becomes text only for a finding.</summary>
internal sealed record Place(Place? Outer, string Keyword, int Item)
{
    public static string Path(Place? place, string keyword) =>
        place is null ? keyword : $"{Path(place.Outer, place.Keyword)}[{place.Item}].{keyword}";
}

/// <summary>Collects findings; the same rule at the same path is told once, though two modules may have it.</summary>
internal sealed class FindingList
{
    private readonly List<Finding> findings = [];

    public IReadOnlyList<Finding> All => findings;

    public void Add(Severity severity, string rule, Place? place, string keyword, string section, string found, string right)
    {
        Add(new Finding(rule, Place.Path(place, keyword), section, found, right, severity));
    }

    public void Add(Finding finding)
    {
        (string rule, string path) = (finding.Rule, finding.Path);
        int same = findings.FindIndex(other => other.Path == path && (other.Rule == rule ? other.Right == finding.Right : AreOneAbsence(other.Rule, rule)));
        if (same < 0)
        {
            findings.Add(finding);
        }
        else if (string.CompareOrdinal(rule, findings[same].Rule) < 0)
        {
            findings[same] = finding;
        }
    }

    // Modules that ask for the same attribute by different types miss it once, by the stricter type.
    private static bool AreOneAbsence(string first, string second)
    {
        const string mark = "type", end = ".missing";
        return first.StartsWith(mark, StringComparison.Ordinal) && second.StartsWith(mark, StringComparison.Ordinal)
            && first.EndsWith(end, StringComparison.Ordinal) && second.EndsWith(end, StringComparison.Ordinal);
    }
}
