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
    /// <summary>Checks a data set.</summary>
    /// <param name="dataSet">The whole data set, without file meta information.</param>
    /// <param name="transferSyntax">How it is, or will be, encoded.</param>
    /// <returns>The findings in the order of the tables; empty when there is nothing to say.</returns>
    public static IReadOnlyList<Finding> Check(DataSet dataSet, TransferSyntax transferSyntax)
    {
        ArgumentNullException.ThrowIfNull(dataSet);
        ArgumentNullException.ThrowIfNull(transferSyntax);
        var findings = new FindingList();
        string? SOPClassUID = ElementText.First(dataSet[Tags.SOPClassUID]);
        Iod? iod = IodTables.Find(SOPClassUID);
        if (iod is null)
        {
            findings.Add(Severity.Error, "iod.unknown", null, "SOPClassUID", "PS3.3 A", SOPClassUID ?? "nothing", "the UID of a class that has a table");
        }
        else
        {
            var walk = new ModuleWalk(dataSet, transferSyntax.Uid, findings);
            walk.Check(iod);
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
        string path = Place.Path(place, keyword);
        if (!findings.Exists(finding => finding.Rule == rule && finding.Path == path && finding.Right == right))
        {
            findings.Add(new Finding(rule, path, section, found, right, severity));
        }
    }
}
