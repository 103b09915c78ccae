using System.Buffers;
using System.Text.Json;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>
/// A small JSON file that says whose the pictures beside it are. It is taken into the spool like a picture and kept as evidence.
/// <list type="bullet">
/// <item><c>camerabridge.json</c> speaks for every picture of its folder.</item>
/// <item><c>IMG_0001.JPG.json</c>, the full name of a picture with <c>.json</c> behind it, speaks for that picture alone.</item>
/// </list>
/// <code>
/// { "version": 1, "patient_id": "P0001", "issuer": "HOSPITAL", "accession_number": "A0001", "side": "R", "optic": "ear" }
/// </code>
/// <c>version</c> is required and is 1. Every other key may be left out; values are strings; <c>side</c> is R or L; <c>optic</c> is a row of
/// the optics table. A key that is not listed here is kept as a finding with the cue and holds the sitting, since somebody meant something by
/// it; a file that cannot be read holds it as well.
/// </summary>
internal static class Sidecar
{
    /// <summary>Name of the file that speaks for its whole folder.</summary>
    public const string FolderFileName = "camerabridge.json";

    /// <summary>A sidecar is a few hundred bytes; what is larger is something else.</summary>
    public const int LongestFile = 64 * 1024;

    /// <summary>Longest value of a key, that of a Patient ID (VR LO, 64 characters; PS3.5 section 6.2).</summary>
    private const int LongestValue = 64;

    private const string Extension = ".json";

    private static readonly SearchValues<char> NotInIdentity = SearchValues.Create("\\*?");

    /// <summary>True when a file of this name is a sidecar and must be taken along with the pictures.</summary>
    /// <param name="place">File name or path with '/' between the parts.</param>
    public static bool IsSidecar(string place)
    {
        string name = FileName(place);
        return name.Equals(FolderFileName, StringComparison.OrdinalIgnoreCase)
            || (name.EndsWith(Extension, StringComparison.OrdinalIgnoreCase) && IsPictureName(name[..^Extension.Length]));
    }

    /// <summary>The place of the one picture that a sidecar speaks for; null when it speaks for its folder.</summary>
    public static string? PictureOf(string sidecarPlace) =>
        FileName(sidecarPlace).Equals(FolderFileName, StringComparison.OrdinalIgnoreCase) ? null : sidecarPlace[..^Extension.Length];

    /// <summary>Reads a sidecar's bytes. Never throws for what the file holds: what cannot be understood is told in <see cref="Cue.Finding"/>.</summary>
    public static Cue Read(long captureId, ReadOnlyMemory<byte> bytes)
    {
        if (bytes.Length > LongestFile)
        {
            return Unreadable(captureId, "is larger than 64 KiB");
        }

        try
        {
            ReadOnlyMemory<byte> text = bytes.Span is [0xEF, 0xBB, 0xBF, ..] ? bytes[3..] : bytes;
            using JsonDocument document = JsonDocument.Parse(text, new JsonDocumentOptions { MaxDepth = 4, AllowDuplicateProperties = false });
            return document.RootElement.ValueKind == JsonValueKind.Object
                ? ReadObject(captureId, document.RootElement)
                : Unreadable(captureId, "is not a JSON object");
        }
        catch (JsonException)
        {
            return Unreadable(captureId, "is not valid JSON, or names a key twice");
        }
    }

    private static Cue ReadObject(long captureId, JsonElement root)
    {
        var cue = new Cue { CaptureId = captureId, Kind = CueKind.Sidecar };
        bool hasVersion = false;
        Reason? finding = null;
        foreach (JsonProperty property in root.EnumerateObject())
        {
            if (property.Name == "version")
            {
                hasVersion = property.Value.ValueKind == JsonValueKind.Number && property.Value.TryGetInt32(out int version) && version == 1;
                continue;
            }

            string? value = property.Value.ValueKind switch
            {
                JsonValueKind.String => property.Value.GetString()!.Trim(' '),
                JsonValueKind.Null => "",
                _ => null,
            };
            if (value is null || !IsClean(value))
            {
                finding ??= new Reason(
                    "sidecar-value",
                    $"The value of '{Known(property.Name)}' in a sidecar file must be a string of at most 64 printable characters without \\ * ?; correct it there.");
                continue;
            }

            if (value.Length == 0)
            {
                continue;
            }

            (cue, Reason? wrong) = Take(cue, property.Name, value);
            finding ??= wrong;
        }

        return hasVersion ? cue with { Finding = finding } : Unreadable(captureId, "does not say \"version\": 1");
    }

    private static (Cue Cue, Reason? Wrong) Take(Cue cue, string key, string value)
    {
        switch (key)
        {
            case "patient_id":
                return (cue with { PatientID = value }, null);
            case "issuer":
                return (cue with { IssuerOfPatientID = value }, null);
            case "accession_number":
                return (cue with { AccessionNumber = value }, null);
            case "optic":
                return (cue with { Optic = value }, null);
            case "side" when value is "R" or "L":
                return (cue with { Side = value }, null);
            case "side":
                return (cue, new Reason("sidecar-value", "The value of 'side' in a sidecar file must be R or L; correct it there."));
            default:
                return (cue, new Reason(
                    "sidecar-unknown-key",
                    "A sidecar file has a key that is not known; known are version, patient_id, issuer, accession_number, side and optic."));
        }
    }

    private static Cue Unreadable(long captureId, string why) => new()
    {
        CaptureId = captureId,
        Kind = CueKind.Sidecar,
        Finding = new Reason("sidecar-unreadable", $"A sidecar file cannot be read: it {why}; correct or remove it and take the folder again."),
    };

    private static bool IsClean(string value) =>
        value.Length <= LongestValue && value.AsSpan().IndexOfAny(NotInIdentity) < 0 && !value.Any(char.IsControl);

    /// <summary>A key's name only where it is one of ours: an unknown one might hold anything, a patient's name too.</summary>
    private static string Known(string key) =>
        key is "patient_id" or "issuer" or "accession_number" or "side" or "optic" ? key : "an unknown key";

    private static bool IsPictureName(string name) =>
        name.EndsWith(".jpg", StringComparison.OrdinalIgnoreCase)
        || name.EndsWith(".jpeg", StringComparison.OrdinalIgnoreCase)
        || name.EndsWith(".mp4", StringComparison.OrdinalIgnoreCase);

    private static string FileName(string place) => place[(place.LastIndexOf('/') + 1)..];
}
