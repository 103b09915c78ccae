using System.Buffers;
using System.Text.Json;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>
/// A small JSON file that says whose the pictures beside it are. It is taken into the spool like a picture and kept as evidence.
/// <list type="bullet">
/// <item><c>camerabridge.json</c> speaks for every picture of its folder.</item>
/// <item><c>IMG_0001.JPG.json</c>, the full name of a picture with <c>.json</c> behind it, speaks for that picture alone.</item>
/// </list>
/// <code>
/// { "version": 1, "patient_id": "P0001", "issuer": "HOSPITAL", "accession_number": "A0001", "side": "R", "optic": "retina", "with": ["dilated"], "lens_power": -3 }
/// </code>
/// <c>version</c> is required and is 1. Every other key may be left out; a value is a string, a number where a number is meant, or a list of them where
/// there may be several. <c>side</c> is R, L or B (both); <c>optic</c> is a row of the optics table, and <c>with</c> names options of that row;
/// the keys of <see cref="ValueKeys"/> say how the picture was taken. A key that is not listed here is kept as a finding with the cue and holds the
/// sitting, since somebody meant something by it; a file that cannot be read holds it as well.
/// </summary>
internal static class Sidecar
{
    /// <summary>Name of the file that speaks for its whole folder.</summary>
    public const string FolderFileName = "camerabridge.json";

    /// <summary>A sidecar is a few hundred bytes; what is larger is something else.</summary>
    public const int LongestFile = 64 * 1024;

    /// <summary>Longest value of a key, that of a Patient ID (VR LO, 64 characters; PS3.5 section 6.2).</summary>
    private const int LongestValue = 64;

    /// <summary>Key of the options of the optic that are chosen.</summary>
    public const string With = OpticPart.WithKey;

    /// <summary>Most values of a key: a whole set of teeth has 32.</summary>
    private const int MostValues = 52;

    private const string Extension = ".json";

    private static readonly string[] IdentityKeys = ["patient_id", "issuer", "accession_number", "optic"];

    private static readonly HashSet<string> PictureExtensions = new(StringComparer.OrdinalIgnoreCase)
    {
        ".jpg", ".jpeg", ".png", ".tif", ".tiff", ".bmp", ".heic", ".mp4", ".m4v", ".mov", ".avi", ".mpg", ".mpeg",
    };

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

            if (Texts(property.Value) is not { } values || !values.All(IsClean))
            {
                finding ??= new Reason(
                    "sidecar-value",
                    $"The value of '{Known(property.Name)}' in a sidecar file must be a string of at most 64 printable characters without \\ * ?; correct it there.");
                continue;
            }

            (Cue Cue, Reason? Wrong) taken = values.Length == 0 ? (cue, null)
                : property.Name == With || ValueKeys.Find(property.Name) is not null ? TakeOfOptic(cue, property.Name, values)
                : property.Value.ValueKind == JsonValueKind.String ? Take(cue, property.Name, values[0])
                : (cue, new Reason("sidecar-value", $"The value of '{Known(property.Name)}' in a sidecar file must be one string, in quotes; correct it there."));
            cue = taken.Cue;
            finding ??= taken.Wrong;
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
            default:
                return (cue, new Reason(
                    "sidecar-unknown-key",
                    $"A sidecar file has a key that is not known; known are version, {string.Join(", ", IdentityKeys)}, {With} and {string.Join(", ", ValueKeys.All.Select(known => known.Name))}."));
        }
    }

    private static (Cue Cue, Reason? Wrong) TakeOfOptic(Cue cue, string name, string[] values)
    {
        (Cue taken, string? wrong) = TakeValues(cue, name, values);
        return (taken, wrong is null ? null : new Reason("sidecar-value", $"The value of '{name}' in a sidecar file {wrong} Correct it there."));
    }

    /// <summary>Takes options of the optic (<see cref="With"/>), or values of a key of <see cref="ValueKeys"/>.</summary>
    /// <returns>The cue with them, or the cue as it was and what is wrong, as the rest of a sentence.</returns>
    public static (Cue Cue, string? Wrong) TakeValues(Cue cue, string name, string[] values)
    {
        if (name == With)
        {
            return (cue with { Values = cue.Values.With(With, values) }, null);
        }

        ValueKey key = ValueKeys.Find(name)!;
        var kept = new List<string>(values.Length);
        foreach (string value in values)
        {
            if (key.Read(value, out string one) is { } fault)
            {
                return (cue, $"{fault.What}. {fault.Fix}");
            }

            kept.Add(one);
        }

        if (kept.Count > 1 && !key.IsMany)
        {
            return (cue, "is several, and one belongs here.");
        }

        return (name == ValueKeys.Side ? cue with { Side = kept[0] } : cue with { Values = cue.Values.With(name, kept) }, null);
    }

    /// <summary>The texts of a string, a number, or a list of them, empty ones left out; null when it is anything else.</summary>
    private static string[]? Texts(JsonElement value)
    {
        switch (value.ValueKind)
        {
            case JsonValueKind.String:
                return value.GetString()!.Trim(' ') is { Length: > 0 } text ? [text] : [];
            case JsonValueKind.Number:
                return [value.GetRawText()];
            case JsonValueKind.Null:
                return [];
            case JsonValueKind.Array when value.GetArrayLength() <= MostValues:
                var texts = new List<string>();
                foreach (JsonElement one in value.EnumerateArray())
                {
                    if (one.ValueKind == JsonValueKind.Array || Texts(one) is not { } inner)
                    {
                        return null;
                    }

                    texts.AddRange(inner);
                }

                return [.. texts];
            default:
                return null;
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
        key == With || IdentityKeys.Contains(key) || ValueKeys.Find(key) is not null ? key : "an unknown key";

    private static bool IsPictureName(string name) => PictureExtensions.Contains(Path.GetExtension(name));

    private static string FileName(string place) => place[(place.LastIndexOf('/') + 1)..];
}
