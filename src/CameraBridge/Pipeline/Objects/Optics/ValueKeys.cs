using System.Collections.Frozen;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;

namespace CameraBridge.Pipeline.Objects.Optics;

/// <summary>Something that may be said of a picture: in the optics table, in a site's optics and in sidecars by the same word.</summary>
/// <param name="Name">The word.</param>
/// <param name="Read">Reads a written value into the form that is kept; tells what is wrong with it otherwise.</param>
/// <param name="IsMany">True when there may be several values.</param>
/// <param name="SOPClassUIDs">The classes whose objects have a place for it; empty for all.</param>
internal sealed record ValueKey(string Name, ReadValue<string> Read, bool IsMany = false, params IReadOnlyList<string> SOPClassUIDs)
{
    public bool IsFor(string SOPClassUID) => SOPClassUIDs.Count == 0 || SOPClassUIDs.Contains(SOPClassUID);
}

/// <summary>All keys, by what they are about. Context groups are those that the modules name (PS3.3, edition 2025e).</summary>
internal static class ValueKeys
{
    public const string
        Side = "side", BodySite = "body_site", BodySiteModifiers = "body_site_modifiers", Structures = "structures", BodyPart = "body_part", Tooth = "tooth",
        View = "view", ViewModifiers = "view_modifiers", Recognizable = "recognizable", BurnedIn = "burned_in",
        ApertureAngle = "aperture_angle", WorkingDistance = "working_distance",
        Contact = "contact", Immersion = "immersion", Polarisation = "polarisation", Magnification = "magnification", ColourTemperature = "colour_temperature",
        EyeDevice = "eye_device", Illumination = "illumination", LightFilters = "light_filters", ImageFilters = "image_filters", Lenses = "lenses",
        LensPower = "lens_power", WeakestLens = "weakest_lens", StrongestLens = "strongest_lens", ImagePosition = "image_position", Gaze = "gaze",
        Pupil = "pupil", PupilDiameter = "pupil_diameter", Mydriatics = "mydriatics", FieldOfView = "field_of_view", CameraAngle = "camera_angle",
        Detector = "detector", EyeImage = "eye_image", EyePressure = "eye_pressure",
        TakenAt = "taken_at";

    /// <summary>Context groups that a body site may come from, whatever the optic.</summary>
    public static readonly IReadOnlyList<int> AnyBodySite = [4, 4016, 4028, 4029, 4031, 4040, 4209];

    /// <summary>The kept form of a contact without any fluid.</summary>
    public const string Dry = "DRY";

    /// <summary>The kept form of a time: the camera's local one.</summary>
    public const string TimeForm = "yyyy-MM-ddTHH:mm:ss";

    private const string Dermoscopic = SopClasses.DermoscopicPhotographyImageStorage, Eye = SopClasses.OphthalmicPhotography8BitImageStorage;

    private static readonly string[] VisibleLight =
    [
        SopClasses.VLEndoscopicImageStorage, SopClasses.VLPhotographicImageStorage, SopClasses.DermoscopicPhotographyImageStorage,
        SopClasses.VideoEndoscopicImageStorage, SopClasses.VideoPhotographicImageStorage,
    ];

    private static readonly ValueKey[] Table =
    [
        new(Side, Words(("R", "R"), ("L", "L"), ("B", "B"))),
        new(BodySite, CodeFrom(AnyBodySite)),
        new(BodySiteModifiers, CodeFrom([2]), true),
        new(Structures, CodeFrom([4018, 4019, .. AnyBodySite]), true),
        new(BodyPart, Term),
        new(Tooth, Teeth.Read, true),
        new(View, CodeFrom([4062, 4063]), false, VisibleLight),
        new(ViewModifiers, CodeFrom([4064, 4065]), true, VisibleLight),
        new(Recognizable, YesOrNo),
        new(BurnedIn, YesOrNo),
        new(ApertureAngle, Number(1, 179, "degrees")),
        new(WorkingDistance, Number(0.1m, 10_000, "millimetres")),
        new(Contact, Words(("contact", "CONTACT"), ("non_contact", "NON_CONTACT")), false, Dermoscopic),
        new(
            Immersion,
            Words(("gel", "ULTRASOUND_GEL"), ("alcohol", "ALCOHOL"), ("water", "WATER"), ("oil", "MINERAL_OIL"), ("cap", "PLASTIC_CAP"), ("dry", Dry)),
            true,
            Dermoscopic),
        new(Polarisation, Words(("polarised", "POLARIZED"), ("non_polarised", "NON_POLARIZED")), false, Dermoscopic),
        new(Magnification, Number(0.01m, 10_000, "times"), false, Dermoscopic),
        new(ColourTemperature, Number(500, 30_000, "kelvin"), false, Dermoscopic),
        new(EyeDevice, CodeFrom([4202]), false, Eye),
        new(Illumination, CodeFrom([4203]), false, Eye),
        new(LightFilters, CodeFrom([4204]), true, Eye),
        new(ImageFilters, CodeFrom([4204]), true, Eye),
        new(Lenses, CodeFrom([4205]), true, Eye),
        new(LensPower, Number(-100, 100, "dioptres"), false, Eye),
        new(WeakestLens, Number(-100, 100, "dioptres"), false, Eye),
        new(StrongestLens, Number(-100, 100, "dioptres"), false, Eye),
        new(ImagePosition, CodeFrom([4207]), false, Eye),
        new(Gaze, CodeFrom([4201]), false, Eye),
        new(Pupil, Words(("dilated", "YES"), ("not_dilated", "NO")), false, Eye),
        new(PupilDiameter, Number(0.5m, 15, "millimetres"), false, Eye),
        new(Mydriatics, CodeFrom([4208]), true, Eye),
        new(FieldOfView, Number(1, 200, "degrees"), false, Eye),
        new(CameraAngle, Number(1, 200, "degrees"), false, Eye),
        new(Detector, Words(("CCD", "CCD"), ("CMOS", "CMOS")), false, Eye),
        new(
            EyeImage,
            Words(("colour", "COLOR"), ("redfree", "REDFREE"), ("red", "RED"), ("blue", "BLUE"), ("fluorescein", "FA"), ("icg", "ICG")),
            false,
            Eye),
        new(EyePressure, Number(0, 100, "mmHg"), false, Eye),
        new(TakenAt, Time),
    ];

    private static readonly FrozenDictionary<string, ValueKey> ByName = Table.ToFrozenDictionary(key => key.Name, StringComparer.Ordinal);

    public static IReadOnlyList<ValueKey> All => Table;

    /// <summary>What is of the one picture and never of an optic.</summary>
    public static bool IsOfPicture(string name) => name is Side or TakenAt;

    public static ValueKey? Find(string name) => ByName.GetValueOrDefault(name);

    /// <summary>
    /// A code by its value or its meaning, from these groups; or a whole one as "value|scheme|meaning", since all of them may be extended (PS3.16 section 7.2.3).
    /// </summary>
    public static ReadValue<string> CodeFrom(IReadOnlyList<int> groups) => (string text, out string kept) =>
    {
        kept = "";
        if (Code.TryParse(text, out Code whole))
        {
            kept = whole.ToString();
            return null;
        }

        if (FindCode(text.Trim(), groups) is { } code)
        {
            kept = code.ToString();
            return null;
        }

        string words = string.Join(" or ", groups.Select(group => group.ToString(CultureInfo.InvariantCulture)));
        string? nearest = NearestWord.Of(text, groups.SelectMany(CodesOf).Select(known => known.Meaning));
        return new ValueFault(
            $"is no code of CID {words}",
            nearest is null ? "Write its code, its meaning as PS3.16 has it, or 'value|scheme|meaning'." : $"Did you mean {nearest}?");
    };

    /// <summary>The code of one of the groups with this value or this meaning, whatever its capitals; null when there is none.</summary>
    public static Code? FindCode(string text, IReadOnlyList<int> groups)
    {
        foreach (GroupCode code in groups.SelectMany(CodesOf))
        {
            if (code.Value == text || code.Meaning.Equals(text, StringComparison.OrdinalIgnoreCase))
            {
                return new Code(code.Value, code.Scheme, code.Meaning);
            }
        }

        return null;
    }

    private static IReadOnlyList<GroupCode> CodesOf(int group) => ContextGroups.Find(group)?.Codes ?? [];

    private static ReadValue<string> Words(params (string Word, string Kept)[] words) => (string text, out string kept) =>
    {
        string plain = Plain(text);
        (string Word, string Kept) found = words.FirstOrDefault(word => Plain(word.Word) == plain || Plain(word.Kept) == plain);
        kept = found.Kept ?? "";
        return found.Kept is null ? new ValueFault("is none of the choices", $"Write one of {string.Join(", ", words.Select(word => word.Word))}.") : null;
    };

    /// <summary>Capitals, hyphens, and s or z in "polarised" cost nothing.</summary>
    private static string Plain(string word) =>
        word.Trim().ToUpperInvariant().Replace('-', '_').Replace(' ', '_').Replace("ISED", "IZED", StringComparison.Ordinal);

    private static ReadValue<string> Number(decimal least, decimal most, string unit) => (string text, out string kept) =>
    {
        bool fits = decimal.TryParse(text, NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint, CultureInfo.InvariantCulture, out decimal number)
            && number >= least && number <= most && number == decimal.Round(number, 4);
        kept = fits ? number.ToString("0.####", CultureInfo.InvariantCulture) : "";
        return fits ? null : new ValueFault("is not what is asked for here", string.Create(
            CultureInfo.InvariantCulture, $"Write a number of {unit} from {least} to {most}, with at most 4 decimals."));
    };

    private static ValueFault? YesOrNo(string text, out string kept)
    {
        ValueFault? fault = SettingValues.Flag(text, out bool value);
        kept = value ? "YES" : "NO";
        return fault;
    }

    private static ValueFault? Time(string text, out string kept)
    {
        bool fits = DateTime.TryParseExact(
            text.Trim(), [TimeForm, "yyyy-MM-ddTHH:mm", "yyyy-MM-dd HH:mm:ss", "yyyy-MM-dd HH:mm"], CultureInfo.InvariantCulture, DateTimeStyles.None, out DateTime time)
            && time.Year >= 2000;
        kept = fits ? time.ToString(TimeForm, CultureInfo.InvariantCulture) : "";
        return fits ? null : new ValueFault("is no time", "Write the local time, for example 2026-11-25T09:30.");
    }

    /// <summary>Body Part Examined is a CS (PS3.5 Table 6.2-1) with defined terms.</summary>
    private static ValueFault? Term(string text, out string kept)
    {
        kept = text.Trim();
        return kept.Length is > 0 and <= 16 && kept.All(letter => letter is (>= 'A' and <= 'Z') or (>= '0' and <= '9') or ' ' or '_')
            ? null
            : new ValueFault("is no term of Body Part Examined", "Write a term of PS3.16 Annex L, in capitals, for example FOREARM.");
    }
}
