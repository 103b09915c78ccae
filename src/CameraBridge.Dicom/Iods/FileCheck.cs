using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Iods;

/// <summary>What the check of one file says.</summary>
/// <param name="SOPClassUID">The class as the file says it, or empty.</param>
/// <param name="Iod">The definition by which it was judged, or null when none fits.</param>
/// <param name="TransferSyntaxUID">The transfer syntax as the file says it, or empty.</param>
/// <param name="Findings">What is against the standard, or worth knowing; errors first.</param>
/// <param name="Untestable">Rules that a file alone cannot answer, once each.</param>
public sealed record FileReport(
    string SOPClassUID, Iod? Iod, string TransferSyntaxUID, IReadOnlyList<Finding> Findings, IReadOnlyList<Untestable> Untestable)
{
    /// <summary>True when nothing is against the standard.</summary>
    public bool Conforms => Findings.All(finding => finding.Severity != Severity.Error);
}

/// <summary>
/// Checks a DICOM file as a whole: file meta information (PS3.10 section 7.1), data set (<see cref="IodCheck"/>), and the bit stream against the
/// attributes that speak of it. Whatever the file is, the answer is a report.
/// </summary>
public static class FileCheck
{
    /// <summary>Checks a file on the calling thread.</summary>
    /// <param name="path">The file; it is read only, and pixels are not held in memory.</param>
    public static FileReport Check(string path)
    {
        ArgumentException.ThrowIfNullOrEmpty(path);
        try
        {
            return Check(Part10File.Open(path));
        }
        catch (MalformedException error)
        {
            return Unreadable(new Finding("file.malformed", error.Path, "PS3.10 7", $"at byte {error.Position}: {error.Rule}", "a DICOM file that can be read to its end", Severity.Error));
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            return Unreadable(new Finding("file.unreadable", "", "PS3.10 7", $"the file cannot be opened ({error.GetType().Name})", "a file that may be read", Severity.Error));
        }
    }

    /// <summary>Checks a file that was read.</summary>
    /// <exception cref="IOException">The pixels cannot be read any more.</exception>
    public static FileReport Check(Part10File file) => Check(file, withBitstream: true);

    /// <summary>Checks a file that was read, with or without its bit stream.</summary>
    internal static FileReport Check(Part10File file, bool withBitstream)
    {
        ArgumentNullException.ThrowIfNull(file);
        var untestable = new List<Untestable>();
        var findings = new FindingList();
        foreach (ReadFinding forgiven in file.Findings)
        {
            findings.Add(new Finding("file.encoding", forgiven.Path, "PS3.5 7", $"at byte {forgiven.Position}: {forgiven.Rule}", "the encoding of the standard", Severity.Error));
        }

        MetaRules.Check(file, findings);
        DataSet dataSet = file.DataSet;
        dataSet.ResolveCharacterSets();
        foreach (Finding finding in IodCheck.Check(dataSet, file.TransferSyntax, untestable))
        {
            // A class without a table is not judged by modules; that is no fault of the file.
            findings.Add(finding.Rule == IodCheck.UnknownClass ? finding with { Severity = Severity.Warning } : finding);
        }

        if (withBitstream)
        {
            BitstreamRules.Check(dataSet, file.TransferSyntax, findings);
        }

        string SOPClassUID = ElementText.First(dataSet[Tags.SOPClassUID]) ?? "";
        return new FileReport(
            SOPClassUID, IodTables.Find(SOPClassUID), file.Meta.TransferSyntaxUID, [.. findings.All.OrderByDescending(finding => finding.Severity)],
            [.. untestable.Distinct()]);
    }

    private static FileReport Unreadable(Finding finding) => new("", null, "", [finding], []);
}
