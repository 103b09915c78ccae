using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Mapping;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Tests.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects.Mapping;

/// <summary>What each optic writes beyond the picture, and what holds it: PS3.3 (2025e) for types, PS3.16 (2024c; views 2025a) for codes.</summary>
public sealed class OpticAttributesTests
{
    private static readonly Tag[] Equipment = [Tags.Manufacturer, Tags.ManufacturerModelName, Tags.DeviceSerialNumber, Tags.SoftwareVersions];

    [Fact]
    public void Skin_says_contact_medium_polarisation_magnification_and_site()
    {
        DataSet made = Made(TestFacts.Of(Picture(), "skin-contact", "L").Saying(
            (ValueKeys.BodySite, "Skin of sole of forefoot"), (ValueKeys.Immersion, "oil"), (ValueKeys.Polarisation, "polarised"), (ValueKeys.ColourTemperature, "5600")));

        // C.8.12.13 and CID 4029.
        Assert.Equal(("DMS", "CONTACT", "MINERAL_OIL"), (made.GetString(Tags.Modality), made.GetString(Tags.ContactMethod), made.GetString(Tags.ImmersionMedia)));
        Assert.Equal(("POLARIZED", 45m, 5600m), (made.GetString(Tags.LightSourcePolarization), made.GetDecimal(Tags.OpticalMagnificationFactor), made.GetDecimal(Tags.EmitterColorTemperature)));
        Assert.Equal(("NO", "L"), (made.GetString(Tags.RecognizableVisualFeatures), made.GetString(Tags.ImageLaterality)));
        Assert.Equal(("130317", "DCM"), (made.GetItem(Tags.AnatomicRegionSequence)!.GetString(Tags.CodeValue), made.GetItem(Tags.AnatomicRegionSequence)!.GetString(Tags.CodingSchemeDesignator)));
        Assert.All(Equipment, tag => Assert.False(made[tag]!.IsEmpty));
    }

    [Fact]
    public void A_dry_contact_has_an_empty_medium_and_none_has_no_medium()
    {
        DataSet dry = Made(TestFacts.Of(Picture(), "skin-contact").Saying((OpticPart.WithKey, "dry")));
        DataSet held = Made(TestFacts.Of(Picture(), "skin-non-contact"));

        // ImmersionMedia is 2C, required if Contact Method is CONTACT; unknown type 2 values are empty.
        Assert.True(dry[Tags.ImmersionMedia] is { IsEmpty: true });
        Assert.Equal("NON_CONTACT", held.GetString(Tags.ContactMethod));
        Assert.False(held.Contains(Tags.ImmersionMedia));
        Assert.True(held[Tags.OpticalMagnificationFactor]!.IsEmpty && held[Tags.LightSourcePolarization]!.IsEmpty && held[Tags.EmitterColorTemperature]!.IsEmpty);
    }

    [Fact]
    public void Dermoscopy_without_the_name_of_its_equipment_is_held_unless_the_picture_names_it()
    {
        ObjectFacts facts = TestFacts.Of(Picture(), "skin-contact");
        facts = facts with { Source = facts.Source with { Device = facts.Source.Device with { SoftwareVersions = null } } };
        Assert.Equal("equipment-missing", Held(facts).Code);
        Assert.Contains("device.software", Held(facts).Words, StringComparison.Ordinal);

        byte[] exif = [.. "Exif\0\0"u8, .. new TestTiff(true).Main(0x0131, "2.0").ToBytes()];
        ObjectFacts telling = TestFacts.Of(Picture(new TestJpeg { Before = [TestJpeg.Segment(0xE1, exif)] }), "skin-contact");
        Assert.Equal("2.0", Made(telling with { Source = facts.Source }).GetString(Tags.SoftwareVersions));
    }

    [Fact]
    public void An_eye_says_lens_filter_pupil_and_field()
    {
        DataSet made = Made(TestFacts.Of(Picture(), "retina", "L").Saying(
            (OpticPart.WithKey, "red-free"), (ValueKeys.LensPower, "-12.5"), (ValueKeys.Pupil, "dilated"), (ValueKeys.Mydriatics, "Tropicamide"),
            (ValueKeys.FieldOfView, "25"), (ValueKeys.ImagePosition, "Macula centered"), (ValueKeys.Gaze, "Right gaze")));

        Assert.Equal(["ORIGINAL", "PRIMARY", "", "REDFREE"], Values(made, Tags.ImageType));
        DataSet lens = Assert.Single(made.GetItems(Tags.RefractiveStateSequence));
        Assert.Equal((-12.5, 0.0, 0.0), (lens.GetDouble(Tags.SphericalLensPower), lens.GetDouble(Tags.CylinderLensPower), lens.GetDouble(Tags.CylinderAxis)));
        Assert.Equal(("YES", "9190005"), (made.GetString(Tags.PupilDilated), made.GetItem(Tags.MydriaticAgentSequence)!.GetItem(Tags.MydriaticAgentCodeSequence)!.GetString(Tags.CodeValue)));
        Assert.True(made[Tags.DegreeOfDilation] is { IsEmpty: true });
        Assert.Equal(25.0, made.GetDouble(Tags.HorizontalFieldOfView));
        Assert.Equal("445465004", made.GetItem(Tags.LightPathFilterTypeStackCodeSequence)!.GetString(Tags.CodeValue));
        Assert.Equal("409900009", made.GetItem(Tags.AcquisitionDeviceTypeCodeSequence)!.GetString(Tags.CodeValue));
        Assert.Equal("111900", made.GetItem(Tags.RelativeImagePositionCodeSequence)!.GetString(Tags.CodeValue));
        Assert.Equal(("YES", "255531009"), (made.GetString(Tags.PatientEyeMovementCommanded), made.GetItem(Tags.PatientEyeMovementCommandCodeSequence)!.GetString(Tags.CodeValue)));
        Assert.Equal(("5665001", "7771000"), (made.GetItem(Tags.AnatomicRegionSequence)!.GetString(Tags.CodeValue), made.GetItem(Tags.AnatomicRegionSequence)!.GetItem(Tags.AnatomicRegionModifierSequence)!.GetString(Tags.CodeValue)));
        Assert.Equal((1, "NO TRIGGER", "N"), (made.GetInt32(Tags.NumberOfFrames), made.GetString(Tags.SynchronizationTrigger), made.GetString(Tags.AcquisitionTimeSynchronized)));
    }

    [Fact]
    public void What_nobody_knows_of_an_eye_is_empty()
    {
        DataSet made = Made(TestFacts.Of(Picture(), "eye-front"));

        // All type 2 (C.8.17.3, C.8.17.4); Mydriatic Agent and Degree of Dilation are 2C, required if the pupil is dilated.
        Tag[] empty = [Tags.PatientEyeMovementCommanded, Tags.HorizontalFieldOfView, Tags.RefractiveStateSequence, Tags.EmmetropicMagnification, Tags.IntraOcularPressure, Tags.PupilDilated, Tags.IlluminationTypeCodeSequence, Tags.LightPathFilterTypeStackCodeSequence, Tags.ImagePathFilterTypeStackCodeSequence, Tags.LensesCodeSequence, Tags.DetectorType];
        Assert.All(empty, tag => Assert.True(made[tag] is { IsEmpty: true }, tag.ToString()));
        Assert.False(made.Contains(Tags.MydriaticAgentSequence) || made.Contains(Tags.DegreeOfDilation) || made.Contains(Tags.AcquisitionContextSequence));
        Assert.Equal("28726007", made.GetItem(Tags.AnatomicRegionSequence)!.GetString(Tags.CodeValue));
    }

    [Theory]
    [InlineData("-35", true)]
    [InlineData("20", true)]
    [InlineData("0", true)]
    [InlineData("-35.25", false)]
    [InlineData("20.5", false)]
    public void Lenses_that_the_wheel_does_not_have_are_refused(string power, bool isLens)
    {
        // 28 lenses from -35 to +20 dioptres: common practice, no source.
        ObjectFacts facts = TestFacts.Of(Picture(), "retina").Saying((ValueKeys.LensPower, power));

        Assert.Equal(isLens, facts.Compose() is ObjectOutcome.Made);
        if (!isLens)
        {
            Assert.Equal("lens-power-impossible", Held(facts).Code);
        }
    }

    [Theory]
    [InlineData("retina")]
    [InlineData("eye-front")]
    public void An_eye_without_a_side_or_a_time_never_leaves(string optic)
    {
        Assert.Equal("side-missing", Held(TestFacts.Of(Picture(), optic, null)).Code);
        ObjectFacts facts = TestFacts.Of(Picture(), optic);
        Assert.Equal("time-unknown", Held(facts with { Picture = facts.Picture with { TakenAt = null } }).Code);
    }

    [Theory]
    [InlineData(60, 8, 9.2)]
    [InlineData(60, 45, 52.0)]
    [InlineData(90, 10, 20.0)]
    public void The_field_of_view_follows_from_aperture_angle_and_distance(int angle, int distance, double width) =>
        // 2 d tan(a/2). 60 degrees at 8 to 45 mm, one tooth to five: common practice, no source.
        Assert.Equal(width, (double)ContextMapping.WidthAt(angle, distance), 0.05);

    [Fact]
    public void Teeth_have_their_codes_views_mirror_and_field()
    {
        DataSet made = Made(TestFacts.Of(Picture(), "teeth", null).Saying(
            (ValueKeys.Tooth, "11"), (ValueKeys.Tooth, "21"), (ValueKeys.View, "occlusal"), (OpticPart.WithKey, "mirror"), (ValueKeys.WorkingDistance, "28")));

        Assert.Equal(["422653006", "424399000"], made.GetItems(Tags.PrimaryAnatomicStructureSequence).Select(item => item.GetString(Tags.CodeValue)));
        DataSet view = Assert.Single(made.GetItems(Tags.ViewCodeSequence));
        Assert.Equal(("260499007", "789135000"), (view.GetString(Tags.CodeValue), view.GetItem(Tags.ViewModifierCodeSequence)!.GetString(Tags.CodeValue)));
        Assert.Equal("47162009", made.GetItem(Tags.DeviceSequence)!.GetString(Tags.CodeValue));
        Assert.Equal(["28", "32.3"], made.GetItems(Tags.AcquisitionContextSequence).Select(item => item.GetString(Tags.NumericValue)));
        Assert.Equal("XC", made.GetString(Tags.Modality));
    }

    [Fact]
    public void Mirror_without_a_view_says_that_the_view_is_not_known()
    {
        DataSet view = Assert.Single(Made(TestFacts.Of(Picture(), "teeth", null).Saying((OpticPart.WithKey, "mirror"))).GetItems(Tags.ViewCodeSequence));

        Assert.Equal(("410514004", "789135000"), (view.GetString(Tags.CodeValue), view.GetItem(Tags.ViewModifierCodeSequence)!.GetString(Tags.CodeValue)));
    }

    [Fact]
    public void Speculum_and_pneumatic_test_are_acquisition_context()
    {
        DataSet made = Made(TestFacts.Of(Picture()).Saying((OpticPart.WithKey, "speculum"), (OpticPart.WithKey, "pneumatic-test")));

        Assert.Equal(["Disposable ear speculum", "Pneumatic test of the ear drum"], made.GetItems(Tags.AcquisitionContextSequence).Select(item => item.GetString(Tags.TextValue)));
        Assert.True(Made(TestFacts.Of(Picture()))[Tags.AcquisitionContextSequence] is { IsEmpty: true });
    }

    [Fact]
    public void Scope_and_light_source_of_the_coupler_are_devices_under_a_named_scheme()
    {
        DataSet made = Made(TestFacts.Of(Picture(), "endoscope").Saying((OpticPart.WithKey, "scope"), (OpticPart.WithKey, "external-light"), (ValueKeys.BodySite, "Larynx")));

        Assert.Equal(["Endoscope", "External light source"], made.GetItems(Tags.DeviceSequence).Select(item => item.GetString(Tags.CodeMeaning)));
        Assert.Equal("99CAMERABRIDGE", made.GetItem(Tags.CodingSchemeIdentificationSequence)!.GetString(Tags.CodingSchemeDesignator));
        Assert.Equal(("4596009", "LARYNX"), (made.GetItem(Tags.AnatomicRegionSequence)!.GetString(Tags.CodeValue), made.GetString(Tags.BodyPartExamined)));
    }

    [Theory]
    [InlineData("Stick", "MEDIM")]
    [InlineData("Share", "109102")]
    public void The_gateway_is_contributing_equipment(string kind, string purpose)
    {
        ObjectFacts facts = TestFacts.Of(Picture());

        DataSet item = Assert.Single(Made(facts with { Source = facts.Source with { Kind = Enum.Parse<SourceKind>(kind) } }).GetItems(Tags.ContributingEquipmentSequence));

        // CID 7005.
        Assert.Equal(purpose, item.GetItem(Tags.PurposeOfReferenceCodeSequence)!.GetString(Tags.CodeValue));
        Assert.Equal("CameraBridge", item.GetString(Tags.Manufacturer));
    }

    [Fact]
    public void The_order_gives_side_and_tooth_by_code_and_a_cue_against_its_side_holds()
    {
        DataSet step = TestFacts.Step();
        DataSet scheduled = step.GetItem(Tags.ScheduledProcedureStepSequence)!;
        DataSet protocol = TestFacts.Code("EYE-R", "99INV", "Right eye");
        DataSet context = new();
        context.SetItems(Tags.ConceptNameCodeSequence, TestFacts.Code("272741003", "SCT", "Laterality"));
        context.SetItems(Tags.ConceptCodeSequence, TestFacts.Code("24028007", "SCT", "Right"));
        protocol.SetItems(Tags.ProtocolContextSequence, context);
        scheduled.SetItems(Tags.ScheduledProtocolCodeSequence, protocol, TestFacts.Code("866005003", "SCT", "Mandibular right first molar tooth"));

        Assert.Equal("R", Made(TestFacts.Of(Picture(), "retina", null, step)).GetString(Tags.ImageLaterality));
        Assert.Equal("866005003", Made(TestFacts.Of(Picture(), "teeth", null, step)).GetItem(Tags.PrimaryAnatomicStructureSequence)!.GetString(Tags.CodeValue));
        ObjectFacts other = TestFacts.Of(Picture(), "retina", "L", step);
        Assert.Equal("side-contradicts-order", Held(other).Code);
        ObjectFacts byHand = other with { Picture = other.Picture with { Said = other.Picture.Said.With(OpticPart.ByHandKey, ValueKeys.Side) } };
        Assert.Equal("L", Made(byHand).GetString(Tags.ImageLaterality));
    }

    [Fact]
    public void What_does_not_go_with_the_optic_is_held_or_noted()
    {
        Assert.Equal("option-unknown", Held(TestFacts.Of(Picture()).Saying((OpticPart.WithKey, "mirror"))).Code);
        Assert.Equal("body-site-foreign", Held(TestFacts.Of(Picture()).Saying((ValueKeys.BodySite, "Retina"))).Code);
        ObjectOutcome.Made made = Assert.IsType<ObjectOutcome.Made>(TestFacts.Of(Picture()).Saying((ValueKeys.LensPower, "2")).Compose());
        Assert.Contains("The endoscopic object has no place for lens_power; it is left out.", made.Notes);
    }

    [Fact]
    public void A_still_of_a_clip_refers_to_it_and_carries_the_time_in_it()
    {
        ObjectFacts facts = TestFacts.Of(Picture());
        var moment = new ClipMoment(SopClasses.VideoEndoscopicImageStorage, "2.25.77", "2.25.76", 76, TimeSpan.FromSeconds(2.5));

        DataSet made = Made(facts with { Picture = facts.Picture with { During = moment } });

        DataSet reference = Assert.Single(made.GetItems(Tags.ReferencedImageSequence));
        Assert.Equal(("2.25.77", 76), (reference.GetString(Tags.ReferencedSOPInstanceUID), reference.GetInt32(Tags.ReferencedFrameNumber)));
        Assert.Equal("122400", reference.GetItem(Tags.PurposeOfReferenceCodeSequence)!.GetString(Tags.CodeValue));
        DataSet ofSeries = Assert.Single(made.GetItems(Tags.ReferencedSeriesSequence));
        Assert.Equal(("2.25.76", "2.25.77"), (ofSeries.GetString(Tags.SeriesInstanceUID), ofSeries.GetItem(Tags.ReferencedInstanceSequence)!.GetString(Tags.ReferencedSOPInstanceUID)));
        Assert.Equal("2.5", Assert.Single(made.GetItems(Tags.AcquisitionContextSequence)).GetString(Tags.NumericValue));
    }

    [Fact]
    public void The_camera_s_settings_go_where_their_modules_are()
    {
        // Exif 2.32 section 4.6.5: PhotographicSensitivity 8827H, MeteringMode 9207H, WhiteBalance A403H, LensModel A434H; C.8.12.11 has them under the same names.
        byte[] exif = [.. "Exif\0\0"u8, .. new TestTiff(true).Exif(0x8827, 200).Exif(0x9207, 99).Exif(0xA403, 1).Exif(0xA434, "Macro 60").ToBytes()];
        string path = Picture(new TestJpeg { Before = [TestJpeg.Segment(0xE1, exif)] });

        DataSet face = Made(TestFacts.Of(path, "face"));
        DataSet ear = Made(TestFacts.Of(path, "ear"));

        Assert.Equal((200, 1, "Macro 60"), (face.GetInt32(Tags.PhotographicSensitivity), face.GetInt32(Tags.WhiteBalance), face.GetString(Tags.LensModel)));
        Assert.False(face.Contains(Tags.MeteringMode) || ear.Contains(Tags.PhotographicSensitivity));
    }

    private static string[] Values(DataSet made, Tag tag) => System.Text.Encoding.ASCII.GetString(made[tag]!.Value.Span).Trim(' ').Split('\\');

    private static string Picture(TestJpeg? picture = null) => TestFiles.Write((picture ?? new TestJpeg()).ToBytes());

    private static DataSet Made(ObjectFacts facts) => facts.Compose() switch
    {
        ObjectOutcome.Made made => made.DataSet,
        ObjectOutcome.Held held => throw new InvalidOperationException(held.Reason.Words),
        _ => throw new InvalidOperationException(),
    };

    private static CameraBridge.Pipeline.Reason Held(ObjectFacts facts) => Assert.IsType<ObjectOutcome.Held>(facts.Compose()).Reason;
}
