using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Iods;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>Our own check of performed procedure steps: PS3.4 Table F.7.2-1 (edition 2016) and its notes (as an SCP's conformance statement of 2007 repeats them).</summary>
public sealed class PerformedStepCheckTests
{
    private static readonly DateTime Start = new(2026, 11, 25, 9, 30, 0, DateTimeKind.Unspecified);

    [Fact]
    public void What_the_builders_make_is_as_the_table_wants_it()
    {
        DataSet created = Step().ToDataSet();

        Assert.Empty(PerformedStepCheck.CheckCreate(created));
        Assert.Empty(PerformedStepCheck.CheckSet(created, Completed().ToDataSet()));
        Assert.Empty(PerformedStepCheck.CheckSet(created, GivenUp().ToDataSet()));
    }

    // Type 1 for the user in N-CREATE.
    [Theory]
    [InlineData("PerformedProcedureStepID")]
    [InlineData("PerformedStationAETitle")]
    [InlineData("PerformedProcedureStepStartDate")]
    [InlineData("PerformedProcedureStepStartTime")]
    [InlineData("PerformedProcedureStepStatus")]
    [InlineData("Modality")]
    [InlineData("ScheduledStepAttributesSequence")]
    public void A_step_is_not_begun_without_a_value_for(string keyword)
    {
        Tag tag = TagDictionary.Find(keyword)!.Tag;
        DataSet empty = Step().ToDataSet();
        empty.SetEmpty(tag);
        DataSet missing = Step().ToDataSet();
        missing.Remove(tag);

        Assert.Contains(PerformedStepCheck.CheckCreate(empty), finding => finding is { Rule: "type1.empty", Severity: Severity.Error } && finding.Path == keyword);
        Assert.Contains(PerformedStepCheck.CheckCreate(missing), finding => finding.Rule == "type1.missing" && finding.Path == keyword);
    }

    // Type 2 for the user in N-CREATE: there, though it may be empty.
    [Theory]
    [InlineData("PatientName")]
    [InlineData("PatientID")]
    [InlineData("PatientBirthDate")]
    [InlineData("PatientSex")]
    [InlineData("ReferencedPatientSequence")]
    [InlineData("PerformedStationName")]
    [InlineData("PerformedLocation")]
    [InlineData("PerformedProcedureStepEndDate")]
    [InlineData("PerformedProcedureStepEndTime")]
    [InlineData("PerformedProcedureStepDescription")]
    [InlineData("PerformedProcedureTypeDescription")]
    [InlineData("ProcedureCodeSequence")]
    [InlineData("StudyID")]
    [InlineData("PerformedProtocolCodeSequence")]
    [InlineData("PerformedSeriesSequence")]
    public void A_step_is_not_begun_without(string keyword)
    {
        DataSet attributes = Step().ToDataSet();
        Assert.True(attributes.Remove(TagDictionary.Find(keyword)!.Tag));

        Assert.Equal(("type2.missing", keyword), (Assert.Single(PerformedStepCheck.CheckCreate(attributes)).Rule, PerformedStepCheck.CheckCreate(attributes)[0].Path));
    }

    [Theory]
    [InlineData("StudyInstanceUID", "type1.missing")]
    [InlineData("AccessionNumber", "type2.missing")]
    [InlineData("RequestedProcedureID", "type2.missing")]
    [InlineData("ScheduledProcedureStepID", "type2.missing")]
    [InlineData("ScheduledProtocolCodeSequence", "type2.missing")]
    [InlineData("ReferencedStudySequence", "type2.missing")]
    public void A_scheduled_step_is_not_told_without(string keyword, string rule)
    {
        DataSet attributes = Step().ToDataSet();
        attributes.GetItem(Tags.ScheduledStepAttributesSequence)!.Remove(TagDictionary.Find(keyword)!.Tag);

        Finding finding = Assert.Single(PerformedStepCheck.CheckCreate(attributes));
        Assert.Equal((rule, "ScheduledStepAttributesSequence[1]." + keyword), (finding.Rule, finding.Path));
    }

    // PS3.4 section F.7.2.1.3: any other status than IN PROGRESS is answered 0106H.
    [Fact]
    public void A_step_begins_in_progress()
    {
        DataSet attributes = Step().ToDataSet();
        attributes.Set(Tags.PerformedProcedureStepStatus, "COMPLETED");

        Assert.Equal("step.status", Assert.Single(PerformedStepCheck.CheckCreate(attributes)).Rule);
    }

    // "Not allowed" in N-SET.
    [Theory]
    [InlineData("PatientID")]
    [InlineData("ScheduledStepAttributesSequence")]
    [InlineData("PerformedProcedureStepID")]
    [InlineData("PerformedProcedureStepStartDate")]
    [InlineData("Modality")]
    [InlineData("StudyID")]
    public void What_is_said_for_good_is_not_set_again(string keyword)
    {
        DataSet created = Step().ToDataSet();
        DataSet changes = Completed().ToDataSet();
        changes.Put(created[TagDictionary.Find(keyword)!.Tag]!);

        Finding finding = Assert.Single(PerformedStepCheck.CheckSet(created, changes));
        Assert.Equal(("step.not-allowed", keyword), (finding.Rule, finding.Path));
    }

    // Note 3: only attributes of N-CREATE may be set; the reason for discontinuation must have been created empty.
    [Fact]
    public void What_was_not_created_is_not_set()
    {
        DataSet created = Step().ToDataSet();
        created.Remove(Tags.PerformedProcedureStepDiscontinuationReasonCodeSequence);

        Finding finding = Assert.Single(PerformedStepCheck.CheckSet(created, GivenUp().ToDataSet()));
        Assert.Equal(("step.not-created", "PerformedProcedureStepDiscontinuationReasonCodeSequence"), (finding.Rule, finding.Path));
    }

    // Final state: End Date and Time type 1; note 2: a completed step has a series, though maybe without images.
    [Fact]
    public void A_step_is_not_completed_without_its_end_or_without_a_series()
    {
        DataSet created = Step().ToDataSet();
        DataSet changes = (Completed() with { Series = [] }).ToDataSet();
        changes.Remove(Tags.PerformedProcedureStepEndTime);

        Assert.Equal(
            ["type1.empty PerformedProcedureStepEndTime", "step.series PerformedSeriesSequence"],
            PerformedStepCheck.CheckSet(created, changes).Select(finding => $"{finding.Rule} {finding.Path}"));
        Assert.Empty(PerformedStepCheck.CheckSet(created, (Completed() with { Series = [new PerformedSeries("1.2.3.4", "EAR", [])] }).ToDataSet()));
    }

    [Fact]
    public void A_step_that_is_given_up_without_a_series_or_a_reason_is_warned_of()
    {
        DataSet changes = (GivenUp() with { Series = [] }).ToDataSet();
        changes.Remove(Tags.PerformedProcedureStepDiscontinuationReasonCodeSequence);

        Assert.All(PerformedStepCheck.CheckSet(Step().ToDataSet(), changes), finding => Assert.Equal(Severity.Warning, finding.Severity));
        Assert.Equal(2, PerformedStepCheck.CheckSet(Step().ToDataSet(), changes).Count);
    }

    // Series: Protocol Name and Series Instance UID type 1, five more type 2; references type 1.
    [Theory]
    [InlineData("ProtocolName", "type1.missing")]
    [InlineData("SeriesInstanceUID", "type1.missing")]
    [InlineData("PerformingPhysicianName", "type2.missing")]
    [InlineData("OperatorsName", "type2.missing")]
    [InlineData("SeriesDescription", "type2.missing")]
    [InlineData("RetrieveAETitle", "type2.missing")]
    [InlineData("ReferencedImageSequence", "type2.missing")]
    [InlineData("ReferencedNonImageCompositeSOPInstanceSequence", "type2.missing")]
    public void A_series_is_not_told_without(string keyword, string rule)
    {
        DataSet changes = Completed().ToDataSet();
        changes.GetItem(Tags.PerformedSeriesSequence)!.Remove(TagDictionary.Find(keyword)!.Tag);

        Assert.Contains(
            PerformedStepCheck.CheckSet(Step().ToDataSet(), changes),
            finding => finding.Rule == rule && finding.Path == "PerformedSeriesSequence[1]." + keyword);
    }

    [Fact]
    public void An_end_before_the_start_a_reason_for_success_and_an_ended_step_are_refused()
    {
        DataSet created = Step().ToDataSet();
        DataSet early = (Completed() with { End = Start.AddMinutes(-1) }).ToDataSet();
        DataSet reasoned = GivenUp().ToDataSet();
        reasoned.Set(Tags.PerformedProcedureStepStatus, "COMPLETED");

        Assert.Equal("step.times", Assert.Single(PerformedStepCheck.CheckSet(created, early)).Rule);
        Assert.Equal("step.reason", Assert.Single(PerformedStepCheck.CheckSet(created, reasoned)).Rule);
        Assert.Equal("step.ended", Assert.Single(PerformedStepCheck.CheckSet(PerformedStepCheck.Merge(created, Completed().ToDataSet()), Completed().ToDataSet())).Rule);
    }

    [Fact]
    public void A_code_without_a_value_and_a_uid_that_is_none_are_found()
    {
        DataSet code = new();
        code.Set(Tags.CodeMeaning, "Otoscopy");
        DataSet attributes = (Step() with { ProcedureCodes = [code] }).ToDataSet();
        attributes.GetItem(Tags.ScheduledStepAttributesSequence)!.SetBytes(Tags.StudyInstanceUID, "1.02 "u8.ToArray());

        Assert.Equal(
            ["value.uid ScheduledStepAttributesSequence[1].StudyInstanceUID", "code.value ProcedureCodeSequence[1]"],
            PerformedStepCheck.CheckCreate(attributes).Select(finding => $"{finding.Rule} {finding.Path}"));
    }

    // Code Meaning is type 1 in Requested Procedure Code Sequence and type 3 in Scheduled Protocol Code Sequence.
    [Fact]
    public void The_code_of_the_requested_procedure_needs_a_meaning()
    {
        DataSet code = new();
        code.Set(Tags.CodeValue, "OTO");
        code.Set(Tags.CodingSchemeDesignator, "99LOCAL");
        DataSet attributes = Step().ToDataSet();
        DataSet scheduled = attributes.GetItem(Tags.ScheduledStepAttributesSequence)!;
        scheduled.SetItems(Tags.ScheduledProtocolCodeSequence, code);
        scheduled.SetItems(Tags.RequestedProcedureCodeSequence, code);

        Finding finding = Assert.Single(PerformedStepCheck.CheckCreate(attributes));
        Assert.Equal(("type1.missing", "ScheduledStepAttributesSequence[1].RequestedProcedureCodeSequence[1].CodeMeaning"), (finding.Rule, finding.Path));
    }

    // pydicom 2.3 has CID 9300 and CID 9301 of PS3.16.
    [Fact]
    public async Task The_reasons_are_those_of_cid_9300_that_a_modality_has()
    {
        const string Script = """
            from pydicom.sr._cid_dict import cid_concepts
            from pydicom.sr._concepts_dict import concepts
            def codes(cid):
                return {(code, scheme, meaning) for scheme, names in cid_concepts[cid].items() for name in names
                        for code, (meaning, cids) in concepts[scheme][name].items() if cid in cids}
            assert codes(9301) <= codes(9300)
            print('\n'.join('|'.join(row) for row in sorted(codes(9301))))
            """;
        (int code, string output) = await PeerProcess.RunAsync("/usr/bin/python3", ["-c", Script], TestContext.Current.CancellationToken);

        Assert.True(code == 0, output);
        Assert.Equal(output.TrimEnd().Split('\n'), DiscontinuationReasons.All.Select(reason => $"{reason.Value}|{reason.Scheme}|{reason.Meaning}").Order(StringComparer.Ordinal));
        Assert.Equal("Incorrect worklist entry selected", DiscontinuationReasons.IncorrectWorklistEntry.Meaning);
    }

    [Fact]
    public void An_order_is_taken_over_in_the_character_set_of_the_step()
    {
        DataSet answer = new() { CharacterSet = CharacterSet.FromSpecificCharacterSet(["ISO_IR 100"]) };
        answer.SetBytes(Tags.SpecificCharacterSet, "ISO_IR 100"u8.ToArray());
        answer.SetBytes(Tags.PatientName, (byte[])[.. "Beispiel^J"u8, 0xF6, .. "rg"u8, 0x20]);
        answer.Set(Tags.StudyInstanceUID, "1.2.5");
        answer.Set(Tags.AccessionNumber, "A1");
        DataSet step = new();
        step.Set(Tags.ScheduledProcedureStepID, "SPS1");
        DataSet protocol = new();
        protocol.Set(Tags.CodeValue, "EAR");
        protocol.Set(Tags.CodingSchemeDesignator, "99LOCAL");
        step.SetItems(Tags.ScheduledProtocolCodeSequence, protocol);
        answer.SetItems(Tags.ScheduledProcedureStepSequence, step);

        DataSet created = (Step() with { Patient = answer, ScheduledStepAttributes = [PerformedStepStart.ScheduledFrom(answer)] }).ToDataSet();

        Assert.Empty(PerformedStepCheck.CheckCreate(created));
        Assert.Equal(("ISO_IR 192", "Beispiel^J\u00F6rg"), (created.GetString(Tags.SpecificCharacterSet), created.GetString(Tags.PatientName)));
        DataSet scheduled = created.GetItem(Tags.ScheduledStepAttributesSequence)!;
        Assert.Equal(("1.2.5", "A1", "SPS1"), (scheduled.GetString(Tags.StudyInstanceUID), scheduled.GetString(Tags.AccessionNumber), scheduled.GetString(Tags.ScheduledProcedureStepID)));
        Assert.Equal("EAR", scheduled.GetItem(Tags.ScheduledProtocolCodeSequence)!.GetString(Tags.CodeValue));
    }

    // IHE RAD TF volume 2, unscheduled and append cases, from memory.
    [Fact]
    public void An_unscheduled_step_has_a_study_only_and_an_appended_one_a_uid_and_id_of_its_own()
    {
        PerformedStepStart unscheduled = Step() with { ScheduledStepAttributes = [PerformedStepStart.Unscheduled("1.2.6")] };
        DataSet scheduled = unscheduled.ToDataSet().GetItem(Tags.ScheduledStepAttributesSequence)!;

        Assert.Empty(PerformedStepCheck.CheckCreate(unscheduled.ToDataSet()));
        Assert.Equal("1.2.6", scheduled.GetString(Tags.StudyInstanceUID));
        Assert.All(scheduled.Where(element => element.Tag != Tags.StudyInstanceUID), element => Assert.True(element.IsEmpty));

        PerformedStepStart appended = unscheduled.Append("1.2.3.11", "PPS2", Start.AddHours(1));
        Assert.Equal(unscheduled.ScheduledStepAttributes, appended.ScheduledStepAttributes);
        Assert.Throws<ArgumentException>(() => unscheduled.Append(unscheduled.SOPInstanceUID, "PPS2", Start));
        Assert.Throws<ArgumentException>(() => unscheduled.Append("1.2.3.11", unscheduled.PerformedProcedureStepID, Start));
    }

    internal static PerformedStepStart Step()
    {
        DataSet patient = new();
        patient.Set(Tags.PatientName, "Example^Ada");
        patient.Set(Tags.PatientID, "P0001");
        return new PerformedStepStart
        {
            SOPInstanceUID = "1.2.3.10",
            PerformedProcedureStepID = "PPS1",
            PerformedStationAETitle = "CAMBRIDGE",
            Modality = "ES",
            Start = Start,
            Patient = patient,
            ScheduledStepAttributes = [PerformedStepStart.Unscheduled("1.2.5")],
        };
    }

    internal static PerformedStepEnd Completed() => new(
        Start.AddMinutes(12), [new PerformedSeries("1.2.3.4", "EAR", [new ReferencedInstance(SopClasses.VLEndoscopicImageStorage, "1.2.3.4.1")])]);

    internal static PerformedStepEnd GivenUp() => Completed() with { Discontinued = DiscontinuationReasons.IncorrectWorklistEntry };
}
