using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Dicom.Part10;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Tests.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

/// <summary>
/// From facts to an object: IHE RAD TF-2 Appendix A (scheduled workflow; from memory) for where values go, PS3.3 (2025e) for types and sections.
/// </summary>
public sealed class ObjectCompositionTests
{
    [Fact]
    public void The_order_goes_where_the_scheduled_workflow_says()
    {
        DataSet made = Made(TestFacts.Of(Picture()));

        Assert.Equal("Müllér^Jörg^^Dr.", made.GetString(Tags.PatientName));
        Assert.Equal("ISO_IR 192", made.GetString(Tags.SpecificCharacterSet));
        Assert.Equal(("P0042", "INVENTED", "M"), (made.GetString(Tags.PatientID), made.GetString(Tags.IssuerOfPatientID), made.GetString(Tags.PatientSex)));
        Assert.Equal(new DateOnly(1961, 4, 30), made.GetDate(Tags.PatientBirthDate));
        Assert.Equal(TestFacts.StudyInstanceUID, made.GetString(Tags.StudyInstanceUID));
        Assert.Equal(("A20260042", "Vogel^Ada", "V11"), (made.GetString(Tags.AccessionNumber), made.GetString(Tags.ReferringPhysicianName), made.GetString(Tags.AdmissionID)));
        Assert.Equal(("RP7", "Otoscopy both ears"), (made.GetString(Tags.StudyID), made.GetString(Tags.StudyDescription)));
        Assert.Equal("OTO", made.GetItem(Tags.ProcedureCodeSequence)?.GetString(Tags.CodeValue));
        Assert.Equal("1.2.840.99999.7.2", made.GetItem(Tags.ReferencedStudySequence)?.GetString(Tags.ReferencedSOPInstanceUID));

        DataSet request = Assert.Single(made.GetItems(Tags.RequestAttributesSequence));
        Assert.Equal(("RP7", "SPS9"), (request.GetString(Tags.RequestedProcedureID), request.GetString(Tags.ScheduledProcedureStepID)));
        Assert.Equal("Otoscopy right ear", request.GetString(Tags.ScheduledProcedureStepDescription));
        Assert.Equal("OTO-R", request.GetItem(Tags.ScheduledProtocolCodeSequence)?.GetString(Tags.CodeValue));
        Assert.Equal("Otoscopy right ear", made.GetString(Tags.PerformedProcedureStepDescription));
        Assert.Equal("OTO-R", made.GetItem(Tags.PerformedProtocolCodeSequence)?.GetString(Tags.CodeValue));

        // Scheduled is not performed: neither the station nor the physician of the schedule stands anywhere in the object.
        Assert.DoesNotContain("Never^Copied", Everything(made), StringComparison.Ordinal);
        Assert.DoesNotContain("ENT1", Everything(made), StringComparison.Ordinal);
    }

    /// <summary>
    /// What the check finds never leaves: VL Image allows 8 bits alone (PS3.3 section C.8.12.1.1.2), and grey has one sample (C.7.6.3.1.2); edition 2025e.
    /// </summary>
    [Fact]
    public void An_object_that_the_check_finds_fault_with_is_held_and_names_rule_and_section()
    {
        ObjectFacts facts = TestFacts.Of(Picture());
        Content content = facts.Picture.Content;

        foreach (Content wrong in (Content[])[content with { BitsAllocated = 16, BitsStored = 10 }, content with { PhotometricInterpretation = "MONOCHROME2" }])
        {
            ObjectOutcome outcome = (facts with { Picture = facts.Picture with { Content = wrong } }).Compose();

            Reason reason = Assert.IsType<ObjectOutcome.Held>(outcome).Reason;
            Assert.Equal("object-not-conforming", reason.Code);
            Assert.Contains("PS3.3 C.", reason.Words, StringComparison.Ordinal);
        }
    }

    [Fact]
    public void Series_equipment_and_picture_are_what_is_known_of_them()
    {
        DataSet made = Made(TestFacts.Of(Picture()));

        Assert.Equal((SopClasses.VLEndoscopicImageStorage, TestFacts.SOPInstanceUID), (made.GetString(Tags.SOPClassUID), made.GetString(Tags.SOPInstanceUID)));
        Assert.Equal(("ES", TestFacts.SeriesInstanceUID, 3), (made.GetString(Tags.Modality), made.GetString(Tags.SeriesInstanceUID), made.GetInt32(Tags.SeriesNumber)));
        Assert.Equal(("CB3", 2), (made.GetString(Tags.PerformedProcedureStepID), made.GetInt32(Tags.InstanceNumber)));
        Assert.Equal(("Invented Optics", "Otocam 3", "SN-77"), (made.GetString(Tags.Manufacturer), made.GetString(Tags.ManufacturerModelName), made.GetString(Tags.DeviceSerialNumber)));
        Assert.Equal(("ENT-ROOM-1", "Invented Hospital", "ENT"), (made.GetString(Tags.StationName), made.GetString(Tags.InstitutionName), made.GetString(Tags.InstitutionalDepartmentName)));
        Assert.Equal(["ORIGINAL", "PRIMARY"], made.GetStrings(Tags.ImageType));
        Assert.Equal(("01", "ISO_10918_1"), (made.GetString(Tags.LossyImageCompression), made.GetString(Tags.LossyImageCompressionMethod)));
        Assert.Equal(("YBR_FULL_422", 3, 24, 40), (made.GetString(Tags.PhotometricInterpretation), made.GetInt32(Tags.SamplesPerPixel), made.GetInt32(Tags.Rows), made.GetInt32(Tags.Columns)));

        // 24 x 40 x 3 bytes uncompressed, divided by the bytes of the stream; DS of PS3.5 section 6.2.
        double expected = 2880.0 / JpegBaseline.Plan(JpegHeaderTests.Read(new TestJpeg()), "/none").StreamLength;
        Assert.Equal(expected, made.GetDouble(Tags.LossyImageCompressionRatio)!.Value, 0.005);
        Assert.False(made.Contains(Tags.BurnedInAnnotation));
        Assert.False(made.Contains(Tags.OperatorsName));
    }

    [Fact]
    public void Times_are_told_in_the_zone_of_the_object()
    {
        ObjectFacts facts = TestFacts.Of(Picture());
        facts = facts with { Picture = facts.Picture with { TakenAt = new DateTimeOffset(2026, 2, 28, 23, 30, 0, TimeSpan.Zero) } };

        DataSet made = Made(facts);

        // PS3.3 section C.12.1.1.8: the offset holds for all dates and times that have none of their own. 23:30 UTC is 00:30 on 1 March at +0100.
        Assert.Equal("+0100", made.GetString(Tags.TimezoneOffsetFromUTC));
        Assert.Equal(("20260228", "091530"), (made.GetString(Tags.StudyDate), made.GetString(Tags.StudyTime)));
        Assert.Equal("20260228233000+0000", made.GetString(Tags.AcquisitionDateTime));
        Assert.Equal(("20260301", "003000"), (made.GetString(Tags.ContentDate), made.GetString(Tags.ContentTime)));
    }

    [Fact]
    public void An_unknown_time_is_absent_and_not_invented()
    {
        ObjectFacts facts = TestFacts.Of(Picture());

        DataSet made = Made(facts with { Picture = facts.Picture with { TakenAt = null } });

        Assert.False(made.Contains(Tags.AcquisitionDateTime));
        Assert.False(made.Contains(Tags.ContentDate));
    }

    [Theory]
    [InlineData("ear", "R", "84301002", "EAC", "R", null, "24028007")]
    [InlineData("ear", "L", "84301002", "EAC", "L", null, "7771000")]
    [InlineData("ear", null, "84301002", "EAC", null, "empty", null)]
    [InlineData("nose", "R", "279549004", "NOSE", null, null, "24028007")]
    [InlineData("teeth", null, "28035005", "MOUTH", null, null, null)]
    [InlineData("general", "L", null, null, "L", null, null)]
    [InlineData("general", null, null, null, null, "empty", null)]
    [InlineData("tonsils", null, "31389004", "PHARYNX", null, null, null)]
    [InlineData("skin", "L", "39937001", null, "L", null, "7771000")]
    [InlineData("skin", null, "39937001", null, null, "empty", null)]
    [InlineData("large-area", null, "38266002", "WHOLEBODY", null, null, null)]
    public void The_optic_and_the_side_make_the_anatomy(
        string optic, string? side, string? region, string? BodyPartExamined, string? ImageLaterality, string? Laterality, string? modifier)
    {
        DataSet made = Made(TestFacts.Of(Picture(), optic, side));

        DataSet? item = made.GetItem(Tags.AnatomicRegionSequence);
        Assert.Equal(region, item?.GetString(Tags.CodeValue));
        Assert.Equal(modifier, item?.GetItem(Tags.AnatomicRegionModifierSequence)?.GetString(Tags.CodeValue));
        Assert.Equal(BodyPartExamined, made.GetString(Tags.BodyPartExamined));
        Assert.Equal(ImageLaterality, made.GetString(Tags.ImageLaterality));
        Assert.Equal(Laterality == "empty", made[Tags.Laterality] is { IsEmpty: true });
        Assert.Equal(Laterality is not null, made.Contains(Tags.Laterality));
    }

    [Fact]
    public void An_order_with_nothing_but_identity_makes_a_right_object()
    {
        var bare = new DataSet();
        bare.Set(Tags.PatientID, "P1");
        bare.Set(Tags.StudyInstanceUID, "1.2.3");

        ObjectFacts facts = TestFacts.Of(Picture(), "endoscope", null, bare);
        DataSet made = Made(facts with { Series = facts.Series with { Source = new SourceConfiguration { Name = "s", Folder = "/f" }, Institution = new InstitutionConfiguration() } });

        Assert.True(made[Tags.PatientName]!.IsEmpty && made[Tags.PatientBirthDate]!.IsEmpty && made[Tags.PatientSex]!.IsEmpty);
        Assert.True(made[Tags.AccessionNumber]!.IsEmpty && made[Tags.StudyID]!.IsEmpty && made[Tags.Manufacturer]!.IsEmpty);
        Assert.False(made.Contains(Tags.InstitutionName));
        Assert.False(made.Contains(Tags.SpecificCharacterSet));
    }

    [Fact]
    public void Untidy_descriptions_are_fitted_and_noted_and_untidy_codes_left_out()
    {
        DataSet step = TestFacts.Step();
        step.Put(Element.FromBytes(Tags.RequestedProcedureDescription, Vr.LO, System.Text.Encoding.ASCII.GetBytes(new string('a', 80))));
        step.Put(Element.FromBytes(Tags.PatientSex, Vr.CS, "male"u8.ToArray()));
        step.Put(Element.FromBytes(Tags.PatientBirthDate, Vr.DA, "unknown "u8.ToArray()));
        step.GetItem(Tags.RequestedProcedureCodeSequence)!.Remove(Tags.CodeMeaning);

        ObjectOutcome.Made made = Assert.IsType<ObjectOutcome.Made>(TestFacts.Of(Picture(), step: step).Compose());

        Assert.Equal(new string('a', 64), made.DataSet.GetString(Tags.StudyDescription));
        Assert.True(made.DataSet[Tags.PatientSex]!.IsEmpty && made.DataSet[Tags.PatientBirthDate]!.IsEmpty);
        Assert.False(made.DataSet.Contains(Tags.ProcedureCodeSequence));
        Assert.Equal(5, made.Notes.Count);
    }

    [Fact]
    public void Identity_that_cannot_be_written_holds_the_picture_and_is_never_shortened()
    {
        DataSet step = TestFacts.Step();
        step.Put(Element.FromBytes(Tags.AccessionNumber, Vr.SH, "12345678901234567 "u8.ToArray()));

        Assert.Equal("value-not-allowed", Held(TestFacts.Of(Picture(), step: step)));
    }

    [Fact]
    public void An_order_without_patient_or_study_holds_the_picture()
    {
        DataSet noPatient = TestFacts.Step();
        noPatient.SetEmpty(Tags.PatientID);
        DataSet noStudy = TestFacts.Step();
        noStudy.Remove(Tags.StudyInstanceUID);

        Assert.Equal("patient-id-missing", Held(TestFacts.Of(Picture(), step: noPatient)));
        Assert.Equal("study-uid-missing", Held(TestFacts.Of(Picture(), step: noStudy)));
    }

    [Fact]
    public void What_is_no_whole_picture_is_held_with_its_own_reason()
    {
        byte[] whole = new TestJpeg { Columns = 200 }.ToBytes();
        Assert.Equal("picture-torn", Held(TestFacts.Of(TestFiles.Write(whole[..^20]))));
        Assert.Equal("picture-unknown", Held(TestFacts.Of(TestFiles.Write("no picture"u8.ToArray()))));
    }

    [Fact]
    public void The_colour_profile_goes_in_and_the_place_and_thumbnail_stay_out()
    {
        byte[] profile = IccProfileTests.Profile("RGB ", "mntr", "Adobe RGB (1998)");
        byte[] exif = [.. "Exif\0\0"u8, .. new TestTiff(false).Main(0x010F, "SECRETPLACE").ToBytes()];
        string path = Picture(new TestJpeg
        {
            Before = [TestJpeg.Segment(0xE2, [.. "ICC_PROFILE\0"u8, 1, 1, .. profile]), TestJpeg.Segment(0xE1, exif), TestJpeg.Segment(0xFE, [.. "SECRETNOTE"u8])],
        });

        ObjectOutcome.Made made = Assert.IsType<ObjectOutcome.Made>(TestFacts.Of(path).Compose());
        byte[] sent = JpegBaselineTests.Bytes(made.Encoded);

        Assert.Equal(profile, made.DataSet[Tags.ICCProfile]!.Value[..profile.Length].ToArray());
        Assert.Equal("ADOBERGB", made.DataSet.GetString(Tags.ColorSpace));
        Assert.Equal(-1, sent.AsSpan().IndexOf("SECRET"u8));
    }

    [Fact]
    public void A_grey_picture_has_no_colour_profile_and_no_planes()
    {
        DataSet made = Made(TestFacts.Of(Picture(new TestJpeg
        {
            Components = TestJpeg.Grey,
            Before = [TestJpeg.Segment(0xE2, [.. "ICC_PROFILE\0"u8, 1, 1, .. IccProfileTests.Profile("GRAY", "mntr", "grey")])],
        })));

        Assert.Equal(("MONOCHROME2", 1), (made.GetString(Tags.PhotometricInterpretation), made.GetInt32(Tags.SamplesPerPixel)));
        Assert.False(made.Contains(Tags.ICCProfile) || made.Contains(Tags.PlanarConfiguration) || made.Contains(Tags.ColorSpace));
    }

    [Fact]
    public void The_camera_speaks_where_the_configuration_is_silent()
    {
        byte[] exif = [.. "Exif\0\0"u8, .. new TestTiff(true)
            .Main(0x010F, "Camera\\Maker").Main(0x0110, "Model 1").Main(0x0131, "2.0").Exif(0xA431, "BODY-1").Exif(0xA001, 1).ToBytes()];
        ObjectFacts facts = TestFacts.Of(Picture(new TestJpeg { Before = [TestJpeg.Segment(0xE1, exif)] }));

        DataSet made = Made(facts with { Source = facts.Source with { Device = new DeviceConfiguration { ModelName = "Configured" } } });

        Assert.Equal(("Camera/Maker", "Configured"), (made.GetString(Tags.Manufacturer), made.GetString(Tags.ManufacturerModelName)));
        Assert.Equal(("BODY-1", "2.0", "SRGB"), (made.GetString(Tags.DeviceSerialNumber), made.GetString(Tags.SoftwareVersions), made.GetString(Tags.ColorSpace)));
    }

    [Fact]
    public void The_same_facts_give_the_same_bytes_and_what_is_read_back_passes_the_check()
    {
        ObjectFacts facts = TestFacts.Of(Picture());
        ObjectOutcome.Made first = Assert.IsType<ObjectOutcome.Made>(facts.Compose());
        ObjectOutcome.Made second = Assert.IsType<ObjectOutcome.Made>(facts.Compose());

        byte[] bytes = JpegBaselineTests.Bytes(first.Encoded);
        Assert.Equal(bytes, JpegBaselineTests.Bytes(second.Encoded));
        Assert.Equal(TransferSyntaxes.JPEGBaseline8Bit, first.TransferSyntaxUID);

        DataSet read = ElementReader.Read(bytes, TransferSyntax.JpegBaseline, ReadLimits.Default);
        Assert.Empty(IodCheck.Check(read, TransferSyntax.JpegBaseline));
        Assert.Equal(first.DataSet.Count, read.Count);
    }

    private static string Picture(TestJpeg? picture = null) => TestFiles.Write((picture ?? new TestJpeg()).ToBytes());

    private static DataSet Made(ObjectFacts facts) =>
        facts.Compose() switch
        {
            ObjectOutcome.Made made => made.DataSet,
            ObjectOutcome.Held held => throw new InvalidOperationException(held.Reason.Words),
            _ => throw new InvalidOperationException(),
        };

    private static string Held(ObjectFacts facts) => Assert.IsType<ObjectOutcome.Held>(facts.Compose()).Reason.Code;

    private static string Everything(DataSet dataSet) => string.Join('|', dataSet.SelectMany(element =>
        element.Items is { } items ? items.Select(Everything) : dataSet.GetStrings(element.Tag)));
}
