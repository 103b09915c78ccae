using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Pipeline.Objects.Optics;

/// <summary>A still picture or a clip: two series, two kinds of object.</summary>
internal enum CaptureKind
{
    Still,
    Clip,
}

/// <summary>A storage class that an optic's pictures may become, by a word of ours, and the modality that goes with it (facts of PS3.3 A.32 and A.41).</summary>
internal sealed record OpticClass(string Word, CaptureKind Kind, string SOPClassUID, string Modality)
{
    /// <summary>All of them.</summary>
    public static readonly IReadOnlyList<OpticClass> All =
    [
        new("endoscopic", CaptureKind.Still, SopClasses.VLEndoscopicImageStorage, "ES"),
        new("photographic", CaptureKind.Still, SopClasses.VLPhotographicImageStorage, "XC"),
        new("dermoscopic", CaptureKind.Still, SopClasses.DermoscopicPhotographyImageStorage, "DMS"),
        new("ophthalmic", CaptureKind.Still, SopClasses.OphthalmicPhotography8BitImageStorage, "OP"),
        new("endoscopic", CaptureKind.Clip, SopClasses.VideoEndoscopicImageStorage, "ES"),
        new("photographic", CaptureKind.Clip, SopClasses.VideoPhotographicImageStorage, "XC"),
    ];

    public static OpticClass? Find(string word, CaptureKind kind) => All.FirstOrDefault(one => one.Word == word && one.Kind == kind);
}

/// <summary>A row of the optics table: what the pictures of an optic become, what is known of them before anybody says a word, and what must be said.</summary>
internal sealed record Optic
{
    /// <summary>Name in the configuration and in sidecar files.</summary>
    public required string Name { get; init; }

    /// <summary>For Series Description, or null.</summary>
    public string? Title { get; init; }

    public required OpticClass Still { get; init; }

    public required OpticClass Clip { get; init; }

    /// <summary>Context groups that a body site may come from.</summary>
    public IReadOnlyList<int> BodySites { get; init; } = [];

    /// <summary>Keys of values and words of <see cref="EquipmentNeeds"/> without which a capture is held.</summary>
    public IReadOnlyList<string> Needs { get; init; } = [];

    /// <summary>What holds for every picture.</summary>
    public OpticPart Always { get; init; } = OpticPart.Empty;

    /// <summary>Bundles by name, chosen by the site or by a sidecar.</summary>
    public IReadOnlyList<OpticOption> Options { get; init; } = [];

    /// <summary>The options that the site has chosen for every picture.</summary>
    public IReadOnlyList<string> With { get; init; } = [];

    public OpticClass Of(CaptureKind kind) => kind == CaptureKind.Still ? Still : Clip;

    public OpticOption? FindOption(string name) => Options.FirstOrDefault(option => option.Name == name);

    /// <summary>What holds for every picture with these options, later ones over earlier ones.</summary>
    public OpticPart PartWith(IEnumerable<string> options) =>
        options.Select(FindOption).OfType<OpticOption>().Aggregate(Always, (part, option) => option.Part.Over(part));
}

/// <summary>A named bundle of an optic, such as a pneumatic test or a filter in front of the light.</summary>
internal sealed record OpticOption(string Name, OpticPart Part);

/// <summary>Values, acquisition context and devices that go together.</summary>
internal sealed record OpticPart(OpticValues Values, IReadOnlyList<ContextItem> Context, IReadOnlyList<OpticDevice> Devices)
{
    /// <summary>The key under which chosen options stand among what cues say.</summary>
    public const string WithKey = "with";

    /// <summary>The key under which stands what a person said by hand: it counts against an order, too.</summary>
    public const string ByHandKey = "by_hand";

    public static OpticPart Empty { get; } = new(OpticValues.None, [], []);

    public OpticPart Over(OpticPart below) => new(Values.Over(below.Values), [.. below.Context, .. Context], [.. below.Devices, .. Devices]);
}

/// <summary>An item of Acquisition Context Sequence (PS3.3 section C.7.6.14): a concept, and a text, a code or a number with its unit.</summary>
internal sealed record ContextItem(Code Concept, string? Text = null, Code? Coded = null, decimal? Number = null, Code? Unit = null);

/// <summary>An item of Device Sequence (PS3.3 section C.7.6.12): what was used beside the camera.</summary>
internal sealed record OpticDevice(Code Kind, string? Manufacturer, string? ModelName, string? SerialNumber, string? Description);

/// <summary>What the configuration says of the camera itself, as words of <see cref="Optic.Needs"/>.</summary>
internal static class EquipmentNeeds
{
    public const string Manufacturer = "manufacturer", ModelName = "model", SerialNumber = "serial_number", SoftwareVersions = "software";

    public static readonly IReadOnlyList<string> All = [Manufacturer, ModelName, SerialNumber, SoftwareVersions];
}
