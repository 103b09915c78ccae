using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Pipeline.Objects.Optics;

/// <summary>A coded concept (PS3.3 section 8).</summary>
/// <param name="Value">Code Value, 1 to 16 characters.</param>
/// <param name="Scheme">Coding Scheme Designator, 1 to 16 characters.</param>
/// <param name="Meaning">Code Meaning, 1 to 64 characters.</param>
internal readonly record struct Code(string Value, string Scheme, string Meaning)
{
    public const string Snomed = "SCT", Units = "UCUM", Dicom = "DCM";

    /// <summary>
    /// Concepts that no context group has a code for. Designators that begin with 99 are everybody's own (PS3.16 section 8.2); objects that use one say whose.
    /// </summary>
    public const string Own = "99CAMERABRIDGE";

    private const char Bar = '|';

    /// <summary>"value|scheme|meaning", the form in which values are kept.</summary>
    public override string ToString() => string.Join(Bar, Value, Scheme, Meaning);

    /// <summary>Reads the form of <see cref="ToString"/>.</summary>
    public static bool TryParse(string text, out Code code)
    {
        string[] parts = text.Split(Bar, StringSplitOptions.TrimEntries);
        bool fits = parts.Length == 3 && parts[0].Length is > 0 and <= 16 && parts[1].Length is > 0 and <= 16 && parts[2].Length is > 0 and <= 64
            && !text.Any(char.IsControl) && !text.Contains('\\', StringComparison.Ordinal);
        code = fits ? new Code(parts[0], parts[1], parts[2]) : default;
        return fits;
    }

    /// <summary>The item of a code sequence (PS3.3 Table 8.8-1, basic).</summary>
    public DataSet ToItem()
    {
        var item = new DataSet();
        item.Set(Tags.CodeValue, Value);
        item.Set(Tags.CodingSchemeDesignator, Scheme);
        item.Set(Tags.CodeMeaning, Meaning);
        return item;
    }
}
