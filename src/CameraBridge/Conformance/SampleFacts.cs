using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Conformance;

/// <summary>
/// Invented facts that objects are made of to see what is in them. Each comes in two forms that differ in every value, so that what an attribute
/// comes from shows by what changes with it.
/// </summary>
internal static class SampleFacts
{
    public const char First = 'A', Second = 'B';

    /// <summary>Two values of every key that may be said of a picture, as a sidecar would write them.</summary>
    public static readonly IReadOnlyDictionary<string, (string First, string Second)> Said = new Dictionary<string, (string, string)>(StringComparer.Ordinal)
    {
        [ValueKeys.Side] = ("R", "L"),
        [ValueKeys.BodySite] = ("", ""),
        [ValueKeys.BodySiteModifiers] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.Structures] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.BodyPart] = ("EAR", "NOSE"),
        [ValueKeys.Tooth] = ("11", "12"),
        [ValueKeys.View] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.ViewModifiers] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.Recognizable] = ("yes", "no"),
        [ValueKeys.BurnedIn] = ("no", "yes"),
        [ValueKeys.ApertureAngle] = ("60", "50"),
        [ValueKeys.WorkingDistance] = ("10", "20"),
        [ValueKeys.Contact] = ("contact", "non_contact"),
        [ValueKeys.Immersion] = ("oil", "gel"),
        [ValueKeys.Polarisation] = ("polarised", "non_polarised"),
        [ValueKeys.Magnification] = ("10", "20"),
        [ValueKeys.ColourTemperature] = ("5000", "6000"),
        [ValueKeys.EyeDevice] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.Illumination] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.LightFilters] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.ImageFilters] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.Lenses] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.LensPower] = ("-3", "2"),
        [ValueKeys.WeakestLens] = ("-35", "-30"),
        [ValueKeys.StrongestLens] = ("20", "15"),
        [ValueKeys.ImagePosition] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.Gaze] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.Pupil] = ("dilated", "not_dilated"),
        [ValueKeys.PupilDiameter] = ("6", "7"),
        [ValueKeys.Mydriatics] = ("A|99SAMPLE|A", "B|99SAMPLE|B"),
        [ValueKeys.FieldOfView] = ("45", "30"),
        [ValueKeys.CameraAngle] = ("45", "30"),
        [ValueKeys.Detector] = ("CCD", "CMOS"),
        [ValueKeys.EyeImage] = ("colour", "red"),
        [ValueKeys.EyePressure] = ("15", "16"),
        [ValueKeys.TakenAt] = ("2026-01-02T09:30", "2026-01-02T09:31"),
    };

    /// <summary>Everything that is known of a camera, or nothing.</summary>
    public static readonly DeviceConfiguration Device = new() { Manufacturer = "A", ModelName = "A", SerialNumber = "A", SoftwareVersions = "A" };

    /// <summary>A circumstance of each kind, and a device beside the camera, as a site may have them in its optics table.</summary>
    public static readonly IReadOnlyList<ContextItem> Context =
    [
        new(new Code("A", "99SAMPLE", "A"), Text: "A"),
        new(new Code("A", "99SAMPLE", "A"), Coded: new Code("A", "99SAMPLE", "A")),
        new(new Code("A", "99SAMPLE", "A"), Number: 1, Unit: new Code("mm", Code.Units, "millimeter")),
    ];

    public static readonly OpticDevice Scope = new(new Code("A", "99SAMPLE", "A"), "A", "A", "A", "A");

    public static readonly InstitutionConfiguration Institution = new() { Name = "A", Address = "A", Department = "A" };

    /// <summary>The kept form of a value.</summary>
    public static string Kept(string key, string written) =>
        ValueKeys.Find(key)!.Read(written, out string kept) is null ? kept : throw new InvalidOperationException($"{written} is no value of {key}.");

    /// <summary>An answer of the worklist that has a value for every return key that is asked for, and for those that are taken though they are not.</summary>
    public static DataSet FullStep()
    {
        DataSet item = new WorklistQuestion().ToIdentifier();
        item.Remove(Tags.SpecificCharacterSet);
        Fill(item, First);
        var issuer = new DataSet();
        issuer.Set(Tags.LocalNamespaceEntityID, "A");
        issuer.Set(Tags.UniversalEntityID, "A");
        issuer.Set(Tags.UniversalEntityIDType, "DNS");
        item.SetItems(Tags.IssuerOfAccessionNumberSequence, issuer);
        return item;
    }

    /// <summary>What every answer must have.</summary>
    public static DataSet LeastStep()
    {
        var item = new DataSet();
        item.Set(Tags.StudyInstanceUID, "2.25.1");
        item.Set(Tags.PatientID, "A");
        return item;
    }

    /// <summary>Puts a sample into every attribute, down into the items.</summary>
    public static void Fill(DataSet dataSet, char form)
    {
        foreach (Element element in dataSet.ToArray())
        {
            if (element.Vr == Vr.SQ)
            {
                foreach (DataSet item in element.Items ?? [])
                {
                    Fill(item, form);
                }
            }
            else
            {
                Put(dataSet, element.Tag, form);
            }
        }
    }

    /// <summary>A value of the attribute's representation.</summary>
    public static void Put(DataSet dataSet, Tag tag, char form)
    {
        bool first = form == First;
        if (tag == Tags.PatientSex)
        {
            dataSet.Set(tag, first ? "F" : "M");
            return;
        }

        switch (TagDictionary.VrOf(tag))
        {
            case Vr.US:
                dataSet.SetInt(tag, first ? 1 : 2);
                break;
            case Vr.DA:
                dataSet.SetDate(tag, new DateOnly(2026, 1, first ? 2 : 3));
                break;
            case Vr.TM:
                dataSet.SetTime(tag, new TimeOnly(first ? 9 : 10, 0));
                break;
            case Vr.DS or Vr.IS:
                dataSet.Set(tag, first ? "1" : "2");
                break;
            case Vr.UI:
                dataSet.Set(tag, first ? "2.25.1" : "2.25.2");
                break;
            default:
                dataSet.Set(tag, $"{form}");
                break;
        }
    }

    /// <summary>The contents that Pixel Data can have, the richest first.</summary>
    public static IReadOnlyList<Content> Contents(CaptureKind kind) => kind == CaptureKind.Still ? Stills() : Clips();

    /// <summary>The content of which the least is known.</summary>
    public static Content PlainContent(CaptureKind kind) => kind == CaptureKind.Still ? Stills()[1] : Clips()[^2];

    /// <summary>A camera that wrote its make, model, software and serial number ("A" each) into Exif (Exif 2.32 sections 4.6.4 and 4.6.5).</summary>
    public static Exif CameraExif(char form) => Exif.Read(
    [
        // "II", 42, directory at 8; four entries: Make, Model, Software, Exif directory at 62, and there BodySerialNumber.
        0x49, 0x49, 0x2A, 0, 8, 0, 0, 0, 4, 0,
        0x0F, 0x01, 2, 0, 2, 0, 0, 0, (byte)form, 0, 0, 0,
        0x10, 0x01, 2, 0, 2, 0, 0, 0, (byte)form, 0, 0, 0,
        0x31, 0x01, 2, 0, 2, 0, 0, 0, (byte)form, 0, 0, 0,
        0x69, 0x87, 4, 0, 1, 0, 0, 0, 62, 0, 0, 0,
        0, 0, 0, 0,
        1, 0,
        0x31, 0xA4, 2, 0, 2, 0, 0, 0, (byte)form, 0, 0, 0,
        0, 0, 0, 0,
    ]);

    private static StillContent[] Stills()
    {
        var photograph = new StillContent
        {
            Fragments = [PixelSource.FromBytes(new byte[2])],
            TransferSyntaxUID = TransferSyntaxes.JPEGBaseline8Bit,
            Rows = 480,
            Columns = 640,
            SamplesPerPixel = 3,
            BitsAllocated = 8,
            BitsStored = 8,
            PhotometricInterpretation = "YBR_FULL_422",
            StreamLength = 2,
            LossySteps = [new LossyStep("ISO_10918_1", 10)],
            IccProfile = new byte[2],
            ColorSpace = "SRGB",
            Exif = Exif.Empty,
        };
        var changed = new Derivation("A", [new DerivationCode("113040", "DCM", "Lossy Compression")], true);
        return
        [
            photograph,
            photograph with { IccProfile = default, ColorSpace = null },
            photograph with { Rows = 481, Columns = 641, Derivation = changed, LossySteps = [.. photograph.LossySteps, .. photograph.LossySteps] },
            photograph with { Derivation = changed with { PixelsChanged = false } },
            photograph with
            {
                Fragments = [],
                Native = PixelSource.FromBytes(new byte[2]),
                TransferSyntaxUID = TransferSyntaxes.ExplicitVRLittleEndian,
                SamplesPerPixel = 1,
                PhotometricInterpretation = "MONOCHROME2",
                LossySteps = [],
                IccProfile = default,
                ColorSpace = null,
            },
        ];
    }

    private static ClipContent[] Clips()
    {
        var clip = new ClipContent
        {
            Fragments = [PixelSource.FromBytes(new byte[2])],
            TransferSyntaxUID = TransferSyntaxes.MPEG4HP41,
            Rows = 1080,
            Columns = 1920,
            SamplesPerPixel = 3,
            BitsAllocated = 8,
            BitsStored = 8,
            PhotometricInterpretation = "YBR_PARTIAL_420",
            StreamLength = 2,
            LossySteps = [new LossyStep("ISO_14496_10", 40)],
            ColorSpace = "SRGB",
            NumberOfFrames = 30,
            FrameTimeMs = 40,
            CineRate = 25,
            Duration = TimeSpan.FromSeconds(1.2),
            HasSound = true,
            SoundChannels = 2,
        };
        var remade = new Derivation("A", [new DerivationCode("113040", "DCM", "Lossy Compression")], true);
        return
        [
            clip,
            clip with { Rows = 720, Columns = 1280, NumberOfFrames = 31, FrameTimeMs = 41, CineRate = 24, Duration = TimeSpan.FromSeconds(1.3), SoundChannels = 1, ColorSpace = null },
            clip with { IsStereo = true, PixelAspectRatio = (16, 15) },
            clip with { CineRate = null, HasSound = false, SoundChannels = 0, ColorSpace = null },
            clip with { Derivation = remade, LossySteps = [.. clip.LossySteps, .. clip.LossySteps] },
        ];
    }
}
