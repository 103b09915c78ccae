using System.Collections.Concurrent;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>
/// Storage commitment with Orthanc 1.10.1, whose reports come in an association with role selection, and with npm's dcmjs-dimse 0.3.3, whose
/// reports come in one without; performed procedure steps with the latter.
/// </summary>
public sealed class OutsideInstanceTests : IDisposable
{
    private const string Photograph = SopClasses.VLPhotographicImageStorage;

    private readonly string folder = Directory.CreateTempSubdirectory("camerabridge-instances-").FullName;
    private readonly ConcurrentQueue<CommitmentReport> taken = [];
    private readonly ConcurrentQueue<ContextRoles> roles = [];

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Fact]
    public async Task Orthanc_commits_to_what_it_has_and_says_what_it_has_not()
    {
        Assert.SkipUnless(PeerProcess.IsInstalled("/usr/sbin/Orthanc"), "Orthanc is not installed; tests/run.sh installs it.");
        await using Provider listener = Listen();
        await using OrthancPeer archive = await OrthancPeer.StartAsync(folder, reportPort: listener.EndPoint.Port);

        await CommitAsync(archive.DicomPort, OrthancPeer.AETitle);

        // Orthanc asks for the role of provider (PS3.7 section D.3.3.4): we are the user alone.
        Assert.Equal([ContextRoles.User, ContextRoles.User], roles);
        Assert.All(taken, report => Assert.Equal(OrthancPeer.AETitle, report.ReportedBy));
    }

    [Fact]
    public async Task Npms_archive_commits_to_what_it_has_and_says_what_it_has_not()
    {
        Assert.SkipUnless(PeerProcess.IsInstalled("node"), "node is not installed; tests/run.sh installs it.");
        await using Provider listener = Listen();
        await using PeerProcess archive = await NodePeer.StartAsync(listener.EndPoint.Port);

        await CommitAsync(archive.Port, NodePeer.AETitle);

        // It asks for no role, so that by default it would be the user and we the provider.
        Assert.Equal([ContextRoles.Provider, ContextRoles.Provider], roles);
        await archive.WaitForAsync("{\"what\":\"reported\",\"status\":0}", Stop);
    }

    [Fact]
    public async Task Npms_ris_takes_a_step_and_its_end_and_nothing_after_it()
    {
        Assert.SkipUnless(PeerProcess.IsInstalled("node"), "node is not installed; tests/run.sh installs it.");
        await using PeerProcess ris = await NodePeer.StartAsync();
        await using Association association = await Association.RequestAsync(
            AssociationTests.Options(ris.Port) with { CalledAETitle = NodePeer.AETitle, Contexts = PerformedStepUser.Proposals }, Stop);
        PerformedStepUser user = new(association);
        DataSet created = PerformedStepCheckTests.Step().ToDataSet();
        DataSet end = PerformedStepCheckTests.GivenUp().ToDataSet();

        DimseReply made = await user.CreateAsync("1.2.3.10", created, Stop);
        DimseReply twice = await user.CreateAsync("1.2.3.10", created, Stop);
        DimseReply ended = await user.SetAsync("1.2.3.10", created, end, Stop);
        DimseReply late = await user.SetAsync("1.2.3.10", created, end, Stop);
        DimseReply foreign = await user.SetAsync("1.2.3.11", created, end, Stop);

        Assert.Equal([0, 0x0111, 0, 0x0110, 0x0112], [made.Status, twice.Status, ended.Status, late.Status, foreign.Status]);
        // As JavaScript read them: what was created, and what was changed.
        await ris.WaitForAsync("\"status\":274", Stop);
        Assert.Contains("\"PerformedProcedureStepStatus\":\"IN PROGRESS\"", ris.Output, StringComparison.Ordinal);
        Assert.Contains("\"PatientID\":\"P0001\"", ris.Output, StringComparison.Ordinal);
        Assert.Contains("\"PerformedProcedureStepStatus\":\"DISCONTINUED\"", ris.Output, StringComparison.Ordinal);
        Assert.Contains("\"CodeValue\":\"110514\"", ris.Output, StringComparison.Ordinal);
        await association.ReleaseAsync(Stop);
    }

    // One transaction for an object that was stored, one for that and another that never was.
    private async Task CommitAsync(int port, string aeTitle)
    {
        ReferencedInstance kept = new(Photograph, "1.2.826.0.1.3680043.10.9999.1");
        ReferencedInstance missing = new(Photograph, "1.2.826.0.1.3680043.10.9999.2");
        AssociationOptions options = AssociationTests.Options(port) with
        {
            CalledAETitle = aeTitle,
            Contexts = [.. CommitmentUser.Proposals, new ContextProposal(Photograph, TransferSyntaxes.ExplicitVRLittleEndian)],
        };
        await using Association association = await Association.RequestAsync(options, Stop);
        DimseReply stored = await new StoreUser(association).StoreAsync(
            new StoreRequest(Photograph, kept.SOPInstanceUID, TransferSyntaxes.ExplicitVRLittleEndian, Encode(kept)), Stop);
        Assert.True(stored.IsDone, stored.ToString());
        CommitmentUser user = new(association, Reports());

        Assert.True((await user.RequestAsync(new CommitmentRequest("1.2.826.0.1.3680043.10.9999.7", [kept]), Stop)).IsDone);
        Assert.True((await user.RequestAsync(new CommitmentRequest("1.2.826.0.1.3680043.10.9999.8", [kept, missing]), Stop)).IsDone);
        while (taken.Count < 2)
        {
            Stop.ThrowIfCancellationRequested();
            await Task.Yield();
        }

        CommitmentReport all = taken.Single(report => report.TransactionUID.EndsWith(".7", StringComparison.Ordinal));
        CommitmentReport some = taken.Single(report => report.TransactionUID.EndsWith(".8", StringComparison.Ordinal));
        // PS3.4 section J.3.3.1.2: event type 1 and 2.
        Assert.Equal(((ushort)1, (ushort)2), (all.EventTypeID, some.EventTypeID));
        Assert.Equal(CommitmentState.Committed, Assert.Single(all.Judge([kept])).State);
        Assert.Equal([CommitmentState.Committed, CommitmentState.Failed], some.Judge([kept, missing]).Select(verdict => verdict.State));
        // PS3.3 section C.14.1.1: 0112H.
        Assert.Equal((ushort?)0x0112, some.Judge([missing])[0].FailureReason);
        await association.ReleaseAsync(Stop);
    }

    private static PixelSource Encode(ReferencedInstance instance)
    {
        DataSet dataSet = new();
        dataSet.Set(Tags.SOPClassUID, instance.SOPClassUID);
        dataSet.Set(Tags.SOPInstanceUID, instance.SOPInstanceUID);
        dataSet.Set(Tags.StudyInstanceUID, "1.2.826.0.1.3680043.10.9999.3");
        dataSet.Set(Tags.SeriesInstanceUID, "1.2.826.0.1.3680043.10.9999.4");
        dataSet.Set(Tags.PatientID, "P0001");
        dataSet.Set(Tags.Modality, "XC");
        return ElementWriter.Encode(dataSet, TransferSyntax.ExplicitLittleEndian);
    }

    private Provider Listen()
    {
        CommitmentReports reports = Reports();
        return Provider.Start(CommitmentReportsTests.Options() with
        {
            EventReport = (request, cancellationToken) =>
            {
                roles.Enqueue(request.Association.Contexts[0].LocalRoles);
                return reports.TakeAsync(request, cancellationToken);
            },
        });
    }

    private CommitmentReports Reports() => new((report, _) =>
    {
        taken.Enqueue(report);
        return new(CommitmentReceipt.Taken);
    });
}
