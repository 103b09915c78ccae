using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>
/// The code of an item against its context groups. A defined group that may not be extended is a closed list (error); one that may is open to
/// others when the item says so (warning); a baseline group is a proposal, and other codes need no word (PS3.16 section 7.2, from memory).
/// </summary>
internal static class CodeRules
{
    public static void Check(CodeConstraint codes, DataSet item, Place place, string section, FindingList findings, ICollection<Untestable>? untestable)
    {
        string? scheme = ElementText.First(item[Tags.CodingSchemeDesignator]);
        string? value = ElementText.First(item[Tags.CodeValue]) ?? ElementText.First(item[Tags.LongCodeValue]);
        if (scheme is null || value is null)
        {
            return;
        }

        foreach (ContextGroup group in codes.Groups)
        {
            if (group.Has(scheme, value))
            {
                return;
            }
        }

        if (scheme is "SRT" or "SNM3" or "99SDM")
        {
            findings.Add(
                Severity.Warning, "code.scheme", place, "CodingSchemeDesignator", "PS3.16 8", $"\"{scheme}\", whose identifiers are retired", "SCT with the number of the concept");
            return;
        }

        if (!codes.IsWhole)
        {
            if (untestable is not null && codes.IsDefined)
            {
                untestable.Add(new Untestable(Place.Path(place, "CodeValue"), section, $"the library has not the codes of {codes.Numbers}"));
            }

            return;
        }

        if (!codes.IsDefined)
        {
            return;
        }

        bool isClosed = codes.Groups.All(group => !group.IsExtensible);
        if (isClosed || ElementText.First(item[Tags.ContextGroupExtensionFlag]) != "Y")
        {
            findings.Add(
                isClosed ? Severity.Error : Severity.Warning, "code.group", place, "CodeValue", section, $"a code of scheme \"{scheme}\" that is not in the group",
                isClosed ? $"a code of {codes.Numbers}" : $"a code of {codes.Numbers}, or one that says that it extends the group");
        }
    }
}
