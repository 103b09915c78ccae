using System.Collections.Concurrent;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>Storage commitment as user, against archives that keep to the script and not to the standard (PS3.4 Annex J, edition 2024c).</summary>
public sealed class CommitmentUserTests
{
    private const string Push = SopClasses.StorageCommitmentPushModel;
    private const string Photograph = SopClasses.VLPhotographicImageStorage;

    private static readonly ReferencedInstance Picture = new(Photograph, "1.2.3.1");

    private readonly ConcurrentQueue<CommitmentReport> taken = [];

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    // PS3.4 Table J.3-1 and section J.3.2.1.2: action type 1 on the well-known instance, with the transaction and the references.
    [Fact]
    public async Task The_request_is_as_table_j_3_1_wants_it_and_the_report_comes_in_the_same_association()
    {
        await using ScriptedPeer archive = ScriptedPeer.Listen(async connection =>
        {
            AssociateRequestPdu asked = await connection.AcceptAsync();
            // We are the user here, which is the default: no role selection (PS3.7 section D.3.3.4).
            Assert.Empty(asked.User.Roles);
            ScriptedMessage action = await connection.ReceiveMessageAsync();
            Assert.Equal(CommandField.ActionRequest, action.Command.CommandField);
            Assert.Equal(
                (Push, "1.2.840.10008.1.20.1.1", (ushort?)1),
                (action.Command.RequestedSOPClassUID, action.Command.RequestedSOPInstanceUID, action.Command.ActionTypeID));
            DataSet information = ElementReader.Read(action.DataSet, TransferSyntax.ExplicitLittleEndian);
            Assert.Equal("1.2.9", information.GetString(Tags.TransactionUID));
            DataSet reference = Assert.Single(information.GetItems(Tags.ReferencedSOPSequence));
            Assert.Equal((Photograph, "1.2.3.1"), (reference.GetString(Tags.ReferencedSOPClassUID), reference.GetString(Tags.ReferencedSOPInstanceUID)));
            await connection.SendMessageAsync(action.ContextId, CommandSet.ResponseTo(action.Command, 0));

            await ReportAsync(connection, action.ContextId, 1, [Picture]);

            ScriptedMessage answer = await connection.ReceiveMessageAsync();
            Assert.Equal(((CommandField)0x8100, (ushort?)7, (ushort?)0), (answer.Command.CommandField, answer.Command.MessageIDBeingRespondedTo, answer.Command.Status));
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await AssociateAsync(archive.Port);
        CommitmentUser user = new(association, Reports());

        DimseReply reply = await user.RequestAsync(new CommitmentRequest("1.2.9", [Picture]), Stop);
        CommitmentReport? report = await user.WaitForReportAsync("1.2.9", Stop);

        Assert.Equal((ushort)0, reply.Status);
        Assert.Equal(CommitmentState.Committed, report!.Judge([Picture])[0].State);
        Assert.Equal("PACS1", report.ReportedBy);
        Assert.Equal([report], taken);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_report_that_never_comes_is_left_after_the_report_limit_and_the_association_stays_good()
    {
        FakeTimeProvider clock = new();
        await using ScriptedPeer archive = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            await AcceptRequestAsync(connection);
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await AssociateAsync(archive.Port, clock);
        CommitmentUser user = new(association, Reports());
        await user.RequestAsync(new CommitmentRequest("1.2.9", [Picture]), Stop);
        Task<CommitmentReport?> wait = user.WaitForReportAsync("1.2.9", Stop);

        TimeSpan waited = await clock.TurnUntilDoneAsync(wait, Stop);

        Assert.Null(await wait);
        Assert.True(waited >= AssociationLimits.Default.Report);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_report_that_comes_twice_is_received_twice_and_answered_twice()
    {
        TaskCompletionSource answered = new(TaskCreationOptions.RunContinuationsAsynchronously);
        await using ScriptedPeer archive = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            byte context = await AcceptRequestAsync(connection);
            for (int i = 0; i < 2; i++)
            {
                await ReportAsync(connection, context, 1, [Picture]);
                Assert.Equal((ushort?)0, (await connection.ReceiveMessageAsync()).Command.Status);
            }

            answered.SetResult();
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await AssociateAsync(archive.Port);
        CommitmentUser user = new(association, Reports());
        await user.RequestAsync(new CommitmentRequest("1.2.9", [Picture]), Stop);

        Assert.NotNull(await user.WaitForReportAsync("1.2.9", Stop));
        // Taken comes before answered: a release now would cut the last answer off.
        await answered.Task.WaitAsync(Stop);
        Assert.Equal(2, taken.Count);

        await association.ReleaseAsync(Stop);
    }

    // PS3.7 section 10.1.1.1.8: 0115H invalid argument value, 0113H no such event type.
    [Fact]
    public async Task A_foreign_transaction_an_unknown_event_and_rubbish_are_declined_and_the_right_report_still_counts()
    {
        await using ScriptedPeer archive = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            byte context = await AcceptRequestAsync(connection);
            await ReportAsync(connection, context, 1, [Picture], "1.2.777");
            Assert.Equal((ushort?)0x0115, (await connection.ReceiveMessageAsync()).Command.Status);
            await ReportAsync(connection, context, 3, [Picture]);
            Assert.Equal((ushort?)0x0113, (await connection.ReceiveMessageAsync()).Command.Status);
            await connection.SendMessageAsync(context, EventCommand(1), [1, 2, 3, 4, 5, 6]);
            Assert.Equal((ushort?)0x0110, (await connection.ReceiveMessageAsync()).Command.Status);
            await connection.SendMessageAsync(context, EventCommand(1));
            Assert.Equal((ushort?)0x0115, (await connection.ReceiveMessageAsync()).Command.Status);
            await ReportAsync(connection, context, 2, [Picture, new ReferencedInstance(Photograph, "1.2.3.99")]);
            Assert.Equal((ushort?)0, (await connection.ReceiveMessageAsync()).Command.Status);
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await AssociateAsync(archive.Port);
        CommitmentUser user = new(association, Reports());
        await user.RequestAsync(new CommitmentRequest("1.2.9", [Picture]), Stop);

        CommitmentReport? report = await user.WaitForReportAsync("1.2.9", Stop);

        Assert.Equal("1.2.3.99", Assert.Single(report!.NotAskedFor([Picture])).SOPInstanceUID);
        Assert.Single(taken);
        await association.ReleaseAsync(Stop);
    }

    [Theory]
    [InlineData("before the answer")]
    [InlineData("after the answer")]
    [InlineData("within the report")]
    public async Task An_archive_that_aborts_leaves_the_transaction_open_and_half_a_report_is_none(string when)
    {
        await using ScriptedPeer archive = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            ScriptedMessage action = await connection.ReceiveMessageAsync();
            if (when != "before the answer")
            {
                await connection.SendMessageAsync(action.ContextId, CommandSet.ResponseTo(action.Command, 0));
            }

            if (when == "within the report")
            {
                CommandSet report = EventCommand(1);
                report.CommandDataSetType = 1;
                byte[] information = Encode(CommitmentReportTests.Information([Picture], []));
                await connection.SendAsync(ScriptedConnection.Value(action.ContextId, true, true, report.Encode()));
                await connection.SendAsync(ScriptedConnection.Value(action.ContextId, false, false, information.AsMemory(0, information.Length / 2 & ~1)));
            }

            await connection.SendAsync(new AbortPdu(AbortSource.User, AbortReason.NotSpecified));
        });
        await using Association association = await AssociateAsync(archive.Port);
        CommitmentUser user = new(association, Reports());
        CommitmentRequest request = new("1.2.9", [Picture]);

        if (when == "before the answer")
        {
            await Assert.ThrowsAsync<AssociationAbortedException>(() => user.RequestAsync(request, Stop));
        }
        else
        {
            Assert.True((await user.RequestAsync(request, Stop)).IsDone);
        }

        Assert.Null(await user.WaitForReportAsync("1.2.9", Stop));
        Assert.Empty(taken);
        Assert.IsType<AssociationAbortedException>(association.Failure);
    }

    [Fact]
    public async Task A_late_report_between_request_and_answer_of_another_service_disturbs_neither()
    {
        TaskCompletionSource answered = new(TaskCreationOptions.RunContinuationsAsynchronously);
        await using ScriptedPeer archive = ScriptedPeer.Listen(async connection =>
        {
            AssociateRequestPdu asked = await connection.AcceptAsync();
            byte context = asked.Contexts.First(one => one.AbstractSyntaxUID == Push).Id;
            // The transaction was asked for yesterday, in another association.
            await ReportAsync(connection, context, 1, [Picture], "1.2.8");
            ScriptedMessage[] messages = [await connection.ReceiveMessageAsync(), await connection.ReceiveMessageAsync()];
            ScriptedMessage echo = messages.Single(message => message.Command.CommandField == CommandField.EchoRequest);
            Assert.Equal((ushort?)0, messages.Single(message => message.Command.CommandField == (CommandField)0x8100).Command.Status);
            // And once more before the answer that is due.
            await ReportAsync(connection, context, 1, [Picture], "1.2.8");
            await connection.SendMessageAsync(echo.ContextId, CommandSet.ResponseTo(echo.Command, 0));
            Assert.Equal((CommandField)0x8100, (await connection.ReceiveMessageAsync()).Command.CommandField);
            answered.SetResult();
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await AssociateAsync(archive.Port);
        _ = new CommitmentUser(association, Reports());

        DimseReply reply = await new EchoUser(association).EchoAsync(Stop);

        Assert.True(reply.IsDone);
        // Taken comes before answered: a release now would cut the last answer off.
        await answered.Task.WaitAsync(Stop);
        Assert.Equal(2, taken.Count);

        await association.ReleaseAsync(Stop);
    }

    // PS3.7 section 10.1.1.1.8: 0211H unrecognised operation. The association is for other things and goes on.
    [Fact]
    public async Task A_report_where_nobody_takes_reports_is_declined_and_the_association_goes_on()
    {
        await using ScriptedPeer archive = ScriptedPeer.Listen(async connection =>
        {
            AssociateRequestPdu asked = await connection.AcceptAsync();
            ScriptedMessage echo = await connection.ReceiveMessageAsync();
            await ReportAsync(connection, asked.Contexts.First(one => one.AbstractSyntaxUID == Push).Id, 1, [Picture]);
            Assert.Equal((ushort?)0x0211, (await connection.ReceiveMessageAsync()).Command.Status);
            await connection.SendMessageAsync(echo.ContextId, CommandSet.ResponseTo(echo.Command, 0));
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await AssociateAsync(archive.Port);

        Assert.True((await new EchoUser(association).EchoAsync(Stop)).IsDone);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_report_that_cannot_be_stored_is_a_failure_to_the_archive_and_no_report_here()
    {
        FakeTimeProvider clock = new();
        await using ScriptedPeer archive = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            byte context = await AcceptRequestAsync(connection);
            await ReportAsync(connection, context, 1, [Picture]);
            Assert.Equal((ushort?)0x0110, (await connection.ReceiveMessageAsync()).Command.Status);
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await AssociateAsync(archive.Port, clock);
        CommitmentUser user = new(association, new CommitmentReports((_, _) => throw new IOException("disk full")));
        await user.RequestAsync(new CommitmentRequest("1.2.9", [Picture]), Stop);
        Task<CommitmentReport?> wait = user.WaitForReportAsync("1.2.9", Stop);

        await clock.TurnUntilDoneAsync(wait, Stop);

        Assert.Null(await wait);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_request_that_is_refused_says_so()
    {
        await using ScriptedPeer archive = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            ScriptedMessage action = await connection.ReceiveMessageAsync();
            await connection.SendMessageAsync(action.ContextId, CommandSet.ResponseTo(action.Command, 0x0123));
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await AssociateAsync(archive.Port);

        DimseReply reply = await new CommitmentUser(association, Reports()).RequestAsync(new CommitmentRequest("1.2.9", [Picture]), Stop);

        Assert.Equal("N-ACTION 0123: no such action type", reply.ToString());
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task One_association_has_one_user_for_commitment()
    {
        await using ScriptedPeer archive = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await AssociateAsync(archive.Port);
        CommitmentUser user = new(association, Reports());

        Assert.Throws<InvalidOperationException>(() => new CommitmentUser(association, Reports()));
        await Assert.ThrowsAsync<ArgumentException>(() => user.WaitForReportAsync("1.2.9", Stop));
        await association.ReleaseAsync(Stop);
    }

    internal static CommandSet EventCommand(ushort type) => new()
    {
        CommandField = CommandField.EventReportRequest,
        AffectedSOPClassUID = Push,
        MessageID = 7,
        AffectedSOPInstanceUID = SopClasses.StorageCommitmentPushModelInstance,
        EventTypeID = type,
    };

    private static Task<Association> AssociateAsync(int port, TimeProvider? clock = null)
    {
        AssociationOptions options = AssociationTests.Options(port, clock);
        return Association.RequestAsync(options with { Contexts = [.. CommitmentUser.Proposals, .. options.Contexts] }, Stop);
    }

    private static async Task<byte> AcceptRequestAsync(ScriptedConnection connection)
    {
        ScriptedMessage action = await connection.ReceiveMessageAsync();
        await connection.SendMessageAsync(action.ContextId, CommandSet.ResponseTo(action.Command, 0));
        return action.ContextId;
    }

    private static Task ReportAsync(ScriptedConnection connection, byte context, ushort type, ReferencedInstance[] committed, string transaction = "1.2.9") =>
        connection.SendMessageAsync(context, EventCommand(type), Encode(CommitmentReportTests.Information(committed, [], transaction)));

    private static byte[] Encode(DataSet dataSet) => ElementWriter.ToBytes(dataSet, TransferSyntax.ExplicitLittleEndian);

    private CommitmentReports Reports() => new((report, _) =>
    {
        if (report.TransactionUID is not ("1.2.8" or "1.2.9"))
        {
            return new(CommitmentReceipt.UnknownTransaction);
        }

        taken.Enqueue(report);
        return new(CommitmentReceipt.Taken);
    });
}
