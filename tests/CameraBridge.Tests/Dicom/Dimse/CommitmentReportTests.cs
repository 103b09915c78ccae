using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>Reports of storage commitment as PS3.4 Table J.3-2 (edition 2024c) has them, and as archives get them wrong.</summary>
public sealed class CommitmentReportTests
{
    private const string Photograph = SopClasses.VLPhotographicImageStorage;

    private static readonly ReferencedInstance First = new(Photograph, "1.2.3.1"), Second = new(Photograph, "1.2.3.2"), Third = new(Photograph, "1.2.3.3");

    // PS3.4 section J.3.3.1.2: the complete set stands in both event types, each failure with its reason.
    [Fact]
    public void What_is_listed_is_committed_or_failed_with_the_reason()
    {
        CommitmentReport report = Read(2, Information([First, Second], [(Third, 0x0112)]));

        Assert.Equal("1.2.9", report.TransactionUID);
        Assert.Equal(
            [CommitmentState.Committed, CommitmentState.Committed, CommitmentState.Failed],
            report.Judge([First, Second, Third]).Select(verdict => verdict.State));
        // PS3.3 section C.14.1.1: 0112H no such object instance.
        Assert.Equal("0112: the archive does not have the object", report.Judge([Third])[0].Sentence);
        Assert.Empty(report.NotAskedFor([First, Second, Third]));
    }

    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    public void An_instance_in_neither_list_is_unknown_whatever_the_event_type_claims(ushort type)
    {
        CommitmentReport report = Read(type, Information([First], []));

        Assert.Equal([CommitmentState.Committed, CommitmentState.Unknown], report.Judge([First, Second]).Select(verdict => verdict.State));
    }

    [Fact]
    public void An_instance_in_both_lists_has_failed_also_under_event_type_1()
    {
        CommitmentReport report = Read(1, Information([First], [(First, 0x0110)]));

        Assert.Equal((CommitmentState.Failed, (ushort?)0x0110), (report.Judge([First])[0].State, report.Judge([First])[0].FailureReason));
    }

    [Fact]
    public void An_instance_under_another_class_is_unknown_and_one_without_a_class_is_meant()
    {
        CommitmentReport report = Read(1, Information([new ReferencedInstance(SopClasses.VLEndoscopicImageStorage, First.SOPInstanceUID), new ReferencedInstance("", Second.SOPInstanceUID)], []));

        Assert.Equal([CommitmentState.Unknown, CommitmentState.Committed], report.Judge([First, Second]).Select(verdict => verdict.State));
    }

    [Fact]
    public void An_instance_that_nobody_asked_for_is_told_and_confirms_nothing()
    {
        CommitmentReport report = Read(1, Information([First, Third], []));

        Assert.Equal([Third], report.NotAskedFor([First, Second]));
        Assert.Equal(CommitmentState.Unknown, report.Judge([Second])[0].State);
    }

    // Orthanc 1.10.1 sends a failed report with an empty Referenced SOP Sequence.
    [Fact]
    public void All_failed_with_an_empty_list_of_the_others_is_read()
    {
        DataSet information = Information([], [(First, 0x0112)]);
        information.SetEmpty(Tags.ReferencedSOPSequence);

        Assert.Equal(CommitmentState.Failed, Read(2, information).Judge([First])[0].State);
    }

    [Fact]
    public void A_failure_without_a_reason_and_with_an_unheard_one_are_sent_again()
    {
        DataSet information = Information([], [(First, 0xBEEF)]);
        DataSet bare = new();
        bare.Set(Tags.ReferencedSOPInstanceUID, Second.SOPInstanceUID);
        information.SetItems(Tags.FailedSOPSequence, [.. information.GetItems(Tags.FailedSOPSequence), bare, new DataSet()]);

        CommitmentReport report = Read(2, information);

        Assert.Equal(["BEEF: a reason that the standard does not define", "the archive gave no reason"], report.Failed.Select(failed => failed.Reason));
        Assert.All(report.Failed, failed => Assert.Equal(StatusAdvice.Send, failed.Meaning.Advice));
    }

    [Fact]
    public void A_report_without_a_transaction_is_none() => Assert.Null(CommitmentReport.Read(1, new DataSet()));

    // PS3.3 section C.14.1.1, edition 2016: all its failure reasons.
    [Theory]
    [InlineData(0x0110, StatusAdvice.Later)]
    [InlineData(0x0112, StatusAdvice.Send)]
    [InlineData(0x0213, StatusAdvice.Later)]
    [InlineData(0x0122, StatusAdvice.Never)]
    [InlineData(0x0119, StatusAdvice.Never)]
    [InlineData(0x0131, StatusAdvice.Later)]
    public void Every_reason_of_the_standard_has_a_meaning_and_an_advice(int reason, StatusAdvice advice)
    {
        StatusEntry meaning = new FailedInstance(First, (ushort)reason).Meaning;

        Assert.Equal(("commitment", advice), (meaning.Service, meaning.Advice));
    }

    [Fact]
    public void A_request_needs_a_uid_and_objects_none_of_them_twice()
    {
        Assert.Throws<ArgumentException>(() => new CommitmentRequest("none", [First]));
        Assert.Throws<ArgumentException>(() => new CommitmentRequest("1.2.9", []));
        Assert.Throws<ArgumentException>(() => new CommitmentRequest("1.2.9", [First, First]));
        Assert.Throws<ArgumentException>(() => new CommitmentRequest("1.2.9", [new ReferencedInstance("", "1.2.3")]));
    }

    internal static DataSet Information(IEnumerable<ReferencedInstance> committed, IEnumerable<(ReferencedInstance Instance, ushort Reason)> failed, string transaction = "1.2.9")
    {
        DataSet information = new();
        information.Set(Tags.TransactionUID, transaction);
        information.SetItems(Tags.ReferencedSOPSequence, committed.Select(Item));
        DataSet[] failures = [.. failed.Select(one =>
        {
            DataSet item = Item(one.Instance);
            item.SetInt(Tags.FailureReason, one.Reason);
            return item;
        })];
        if (failures.Length > 0)
        {
            information.SetItems(Tags.FailedSOPSequence, failures);
        }

        return information;
    }

    private static DataSet Item(ReferencedInstance instance)
    {
        DataSet item = new();
        if (instance.SOPClassUID.Length > 0)
        {
            item.Set(Tags.ReferencedSOPClassUID, instance.SOPClassUID);
        }

        item.Set(Tags.ReferencedSOPInstanceUID, instance.SOPInstanceUID);
        return item;
    }

    private static CommitmentReport Read(ushort type, DataSet information) => CommitmentReport.Read(type, information)!;
}
