using System.Collections.Concurrent;
using System.Net;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>Reports that come in associations which the archive makes (PS3.4 section J.3.3.1.3, edition 2024c), and the side that sends them.</summary>
public sealed class CommitmentReportsTests
{
    private const string Push = SopClasses.StorageCommitmentPushModel;

    private static readonly ReferencedInstance Picture = new(SopClasses.VLPhotographicImageStorage, "1.2.3.1");

    private readonly ConcurrentQueue<CommitmentReport> taken = [];

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task An_archive_that_asks_for_the_role_of_provider_gets_it_and_its_report_is_taken()
    {
        await using Provider listener = Listen();
        await using Association association = await Association.RequestAsync(
            AssociationTests.Options(listener.EndPoint.Port) with { Contexts = CommitmentReporter.Proposals }, Stop);
        Assert.All(association.Contexts, context => Assert.Equal(ContextRoles.Provider, context.LocalRoles));

        DimseReply reply = await new CommitmentReporter(association).ReportAsync(
            new CommitmentReport("1.2.9", [Picture], [new FailedInstance(Picture with { SOPInstanceUID = "1.2.3.2" }, 0x0112)]), Stop);

        Assert.True(reply.IsDone);
        CommitmentReport report = Assert.Single(taken);
        Assert.Equal(("CAMBRIDGE", (ushort)2), (report.ReportedBy, report.EventTypeID));
        Assert.Equal(Picture, Assert.Single(report.Committed));
        Assert.Equal((ushort?)0x0112, Assert.Single(report.Failed).FailureReason);
        await association.ReleaseAsync(Stop);
    }

    // As dcmjs-dimse 0.3.3 does it: the requestor is the user by default, and sends N-EVENT-REPORT all the same.
    [Fact]
    public async Task An_archive_that_says_nothing_of_roles_is_understood()
    {
        await using Provider listener = Listen();
        await using ScriptedConnection archive = await ScriptedPeer.ConnectAsync(listener.EndPoint.Port, Stop);
        AssociateAcceptPdu accept = await archive.AssociateAsync(Push);
        Assert.Empty(accept.User.Roles);

        Assert.Equal((ushort?)0, await ReportAsync(archive, 1, "1.2.9"));
        // PS3.7 section 10.1.1.1.8.
        Assert.Equal((ushort?)0x0115, await ReportAsync(archive, 1, "1.2.777"));
        Assert.Equal((ushort?)0x0113, await ReportAsync(archive, 3, "1.2.9"));

        Assert.Equal("SCRIPTED", Assert.Single(taken).ReportedBy);
    }

    [Fact]
    public async Task A_listener_without_a_taker_says_that_it_does_not_know_the_operation()
    {
        await using Provider listener = Provider.Start(Options());
        await using ScriptedConnection archive = await ScriptedPeer.ConnectAsync(listener.EndPoint.Port, Stop);
        await archive.AssociateAsync(Push);

        Assert.Equal((ushort?)0x0211, await ReportAsync(archive, 1, "1.2.9"));
    }

    [Fact]
    public async Task A_report_is_not_let_in_under_another_class()
    {
        await using Provider listener = Listen();
        await using ScriptedConnection archive = await ScriptedPeer.ConnectAsync(listener.EndPoint.Port, Stop);
        await archive.AssociateAsync(SopClasses.Verification);

        // PS3.7 section 10.1.1.1.8: 0118H, or 0122H as all providers here say.
        Assert.Equal((ushort?)0x0122, await ReportAsync(archive, 1, "1.2.9"));
        Assert.Empty(taken);
    }

    [Fact]
    public async Task An_archive_of_ours_reports_in_the_association_of_the_request_once_its_answer_is_out()
    {
        TaskCompletionSource<DimseReply> reported = new(TaskCreationOptions.RunContinuationsAsynchronously);
        ProviderOptions options = Options();
        await using Provider archive = Provider.Start(options with
        {
            Action = (request, token) =>
            {
                CommitmentRequest asked = CommitmentRequest.Read(request.DataSet)!;
                _ = ReportLaterAsync(request, new CommitmentReport(asked.TransactionUID, asked.Instances, []), reported, token);
                return new(HandlerAnswer.Success);
            },
        });
        AssociationOptions wanted = AssociationTests.Options(archive.EndPoint.Port);
        await using Association association = await Association.RequestAsync(wanted with { Contexts = CommitmentUser.Proposals }, Stop);
        CommitmentUser user = new(association, Reports());

        Assert.True((await user.RequestAsync(new CommitmentRequest("1.2.9", [Picture]), Stop)).IsDone);
        CommitmentReport? report = await user.WaitForReportAsync("1.2.9", Stop);

        Assert.Equal(CommitmentState.Committed, report!.Judge([Picture])[0].State);
        Assert.True((await reported.Task.WaitAsync(Stop)).IsDone);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task Nothing_is_reported_to_a_peer_that_does_not_grant_the_role()
    {
        ProviderOptions options = Options();
        await using Provider peer = Provider.Start(options with
        {
            Acceptor = options.Acceptor with { Offers = [CommitmentReports.Offer with { PeerRoles = ContextRoles.User }] },
        });
        await using Association association = await Association.RequestAsync(
            AssociationTests.Options(peer.EndPoint.Port) with { Contexts = CommitmentReporter.Proposals }, Stop);

        ContextNotAcceptedException thrown = await Assert.ThrowsAsync<ContextNotAcceptedException>(
            () => new CommitmentReporter(association).ReportAsync(new CommitmentReport("1.2.9", [Picture], []), Stop));

        Assert.Contains("provider (SCP)", thrown.Sentence, StringComparison.Ordinal);
        await association.ReleaseAsync(Stop);
    }

    internal static ProviderOptions Options() => new()
    {
        EndPoint = new IPEndPoint(IPAddress.Loopback, 0),
        Acceptor = new AcceptorOptions { Offers = [CommitmentReports.Offer] },
    };

    private static async Task ReportLaterAsync(
        InstanceRequest request, CommitmentReport report, TaskCompletionSource<DimseReply> reported, CancellationToken cancellationToken)
    {
        await request.Answered;
        reported.SetResult(await new CommitmentReporter(request.Association).ReportAsync(report, CancellationToken.None));
        cancellationToken.ThrowIfCancellationRequested();
    }

    private static async Task<ushort?> ReportAsync(ScriptedConnection archive, ushort type, string transaction)
    {
        await archive.SendMessageAsync(
            1,
            CommitmentUserTests.EventCommand(type),
            ElementWriter.ToBytes(CommitmentReportTests.Information([Picture], [], transaction), TransferSyntax.ImplicitLittleEndian));
        return (await archive.ReceiveMessageAsync()).Command.Status;
    }

    private Provider Listen() => Provider.Start(Options() with { EventReport = Reports().TakeAsync });

    private CommitmentReports Reports() => new((report, _) =>
    {
        if (report.TransactionUID != "1.2.9")
        {
            return new(CommitmentReceipt.UnknownTransaction);
        }

        taken.Enqueue(report);
        return new(CommitmentReceipt.Taken);
    });
}
