using System.Buffers;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>C-STORE as user: everything that can happen in the middle of it, by scripted peers.</summary>
public sealed class StoreUserFaultTests
{
    private const string Photograph = SopClasses.VLPhotographicImageStorage;
    private const string Jpeg = TransferSyntaxes.JPEGBaseline8Bit;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_peer_that_stops_reading_is_left_after_the_write_limit()
    {
        FakeTimeProvider clock = new();
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            connection.ShrinkReceiveBuffer();
            await connection.AcceptAsync(0);
            await connection.StallAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port, clock), Stop);
        Task<DimseReply> store = new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(64 * 1024 * 1024)), Stop);

        await clock.TurnUntilDoneAsync(store, Stop);

        PeerTimeoutException thrown = await Assert.ThrowsAsync<PeerTimeoutException>(() => store);
        Assert.Equal("Write", thrown.Limit);
        Assert.Same(thrown, association.Failure);
    }

    [Theory]
    [InlineData(0)]
    [InlineData(1)]
    [InlineData(40)]
    public async Task A_peer_that_stalls_before_or_within_its_answer_is_left_after_the_response_limit(int bytesOfTheAnswer)
    {
        FakeTimeProvider clock = new();
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            ScriptedMessage message = await connection.ReceiveMessageAsync();
            await connection.SendAsync(PduCodec.Encode(ScriptedConnection.Value(3, true, true, CommandSet.ResponseTo(message.Command, 0).Encode()))
                .AsMemory(0, bytesOfTheAnswer));
            await connection.StallAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port, clock), Stop);
        Task<DimseReply> store = new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(100)), Stop);

        await clock.TurnUntilDoneAsync(store, Stop);

        Assert.Equal("Response", (await Assert.ThrowsAsync<PeerTimeoutException>(() => store)).Limit);
        await Assert.ThrowsAsync<PeerTimeoutException>(() => new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(100)), Stop));
    }

    [Fact]
    public async Task A_reset_at_any_byte_of_the_answer_is_told_and_never_taken_for_an_answer()
    {
        // The answer: 12 bytes of heads and the command set.
        int length = PduCodec.Encode(ScriptedConnection.Value(3, true, true, CommandSet.ResponseTo(StoreUserTests.StoreCommand(1), 0).Encode())).Length;
        int cut = 0;
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            ScriptedMessage message = await connection.ReceiveMessageAsync();
            byte[] answer = PduCodec.Encode(ScriptedConnection.Value(3, true, true, CommandSet.ResponseTo(message.Command, 0).Encode()));
            Assert.Equal(length, answer.Length);
            await connection.SendAsync(answer.AsMemory(0, cut));
            connection.Reset();
        });
        for (cut = 0; cut < length; cut++)
        {
            await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);
            await Assert.ThrowsAsync<ConnectionFailedException>(() => new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(100)), Stop));
            Assert.False(association.IsOpen);
        }
    }

    [Fact]
    public async Task A_reset_at_any_byte_of_the_acceptance_is_told()
    {
        AssociateRequestPdu request = Negotiation.Propose(AssociationTests.Options(1));
        byte[] acceptance = PduCodec.Encode(ScriptedConnection.Acceptance(request));
        int cut = 0;
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.ReceivePduAsync<AssociateRequestPdu>();
            await connection.SendAsync(acceptance.AsMemory(0, cut));
            connection.Reset();
        });
        for (cut = 0; cut < acceptance.Length; cut++)
        {
            await Assert.ThrowsAsync<ConnectionFailedException>(() => Association.RequestAsync(AssociationTests.Options(peer.Port), Stop));
        }
    }

    [Fact]
    public async Task An_abort_in_the_middle_of_an_object_is_told_as_an_abort()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync(0);
            await connection.ReceiveAsync(100_000);
            await connection.SendAsync(new AbortPdu(AbortSource.User, AbortReason.NotSpecified));
            connection.EndSending();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        AssociationAbortedException thrown = await Assert.ThrowsAsync<AssociationAbortedException>(
            () => new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(64 * 1024 * 1024)), Stop));

        Assert.True(thrown.ByPeer);
    }

    [Fact]
    public async Task A_failure_before_the_object_is_sent_in_full_is_the_answer_and_the_association_goes_on()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync(0);
            DataPdu first = await connection.ReceivePduAsync<DataPdu>();
            CommandSet command = CommandSet.Decode(first.Values[0].Fragment.ToArray());
            await connection.SendMessageAsync(3, CommandSet.ResponseTo(command, 0xA700));
            while (!(await connection.ReceivePduAsync<DataPdu>()).Values[^1].IsLast)
            {
            }

            ScriptedMessage next = await connection.ReceiveMessageAsync();
            await connection.SendMessageAsync(next.ContextId, CommandSet.ResponseTo(next.Command, 0));
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        DimseReply reply = await new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(16 * 1024 * 1024)), Stop);

        Assert.Equal((0xA700, StatusAdvice.Later), (reply.Status, reply.Meaning.Advice));
        Assert.True((await new EchoUser(association).EchoAsync(Stop)).IsDone);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_failure_and_then_a_close_before_the_object_is_sent_in_full_is_still_the_answer()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync(0);
            DataPdu first = await connection.ReceivePduAsync<DataPdu>();
            CommandSet command = CommandSet.Decode(first.Values[0].Fragment.ToArray());
            await connection.SendMessageAsync(3, CommandSet.ResponseTo(command, 0xA700));
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        DimseReply reply = await new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(64 * 1024 * 1024)), Stop);

        Assert.Equal(0xA700, reply.Status);
        Assert.False(association.IsOpen);
    }

    [Fact]
    public async Task A_success_before_the_object_is_sent_in_full_is_not_believed()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync(0);
            DataPdu first = await connection.ReceivePduAsync<DataPdu>();
            CommandSet command = CommandSet.Decode(first.Values[0].Fragment.ToArray());
            await connection.SendMessageAsync(3, CommandSet.ResponseTo(command, 0));
            await connection.WaitForCloseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        ProtocolException thrown = await Assert.ThrowsAsync<ProtocolException>(
            () => new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(64 * 1024 * 1024)), Stop));

        Assert.Contains("a success before the request was sent in full", thrown.Sentence, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("message", "a response to message 4711")]
    [InlineData("context", "a response in presentation context 1 to a request in 3")]
    [InlineData("unknown context", "data in presentation context 99, which was not agreed on")]
    [InlineData("field", "a response with command field 8030H where 8001H is due")]
    [InlineData("status", "a response without a status")]
    [InlineData("instance", "an answer about another SOP instance")]
    [InlineData("request", "a request (command field 0030H) where this side does not perform any")]
    [InlineData("torn", "a command set with the element")]
    [InlineData("data", "a data set without a command before it")]
    public async Task An_answer_that_does_not_fit_breaks_the_association(string fault, string said)
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            CommandSet answer = CommandSet.ResponseTo((await connection.ReceiveMessageAsync()).Command, 0);
            answer.MessageIDBeingRespondedTo = fault == "message" ? (ushort)4711 : answer.MessageIDBeingRespondedTo;
            answer.CommandField = fault is "field" ? (CommandField)0x8030 : fault == "request" ? CommandField.EchoRequest : answer.CommandField;
            answer.Status = fault == "status" ? null : answer.Status;
            answer.AffectedSOPInstanceUID = fault == "instance" ? "1.2.3.5" : answer.AffectedSOPInstanceUID;
            byte[] bytes = answer.Encode();
            if (fault == "torn")
            {
                bytes[4] = 0xFF;
            }

            byte context = fault switch { "context" => 1, "unknown context" => 99, _ => 3 };
            await connection.SendAsync(ScriptedConnection.Value(context, fault != "data", true, bytes));
            await connection.WaitForCloseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        ProtocolException thrown = await Assert.ThrowsAsync<ProtocolException>(
            () => new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(100)), Stop));

        Assert.Contains(said, thrown.Sentence, StringComparison.Ordinal);
        Assert.Contains("archive PACS1", thrown.Sentence, StringComparison.Ordinal);
        Assert.False(association.IsOpen);
    }

    [Fact]
    public async Task A_file_that_is_gone_before_anything_was_sent_leaves_the_association_usable()
    {
        await using ScriptedPeer peer = StoreUserTests.AnsweringPeer(_ => 0);
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);
        StoreUser user = new(association);
        PixelSource gone = PixelSource.FromFile(Path.Combine(Path.GetTempPath(), Guid.NewGuid().ToString()), 0, 100);

        await Assert.ThrowsAnyAsync<IOException>(() => user.StoreAsync(new StoreRequest(Photograph, "1.2.3.4", Jpeg, gone), Stop));

        Assert.True((await user.StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(100)), Stop)).IsDone);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_file_that_ends_in_the_middle_of_an_object_aborts_the_association()
    {
        byte[] farewell = [];
        await using (ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync(0);
            farewell = await connection.WaitForCloseAsync();
        }))
        {
            await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);
            PixelSource torn = PixelSource.Concat(
                PixelSource.FromBytes(StoreUserTests.Bytes(1024 * 1024)),
                PixelSource.FromFile(Path.Combine(Path.GetTempPath(), Guid.NewGuid().ToString()), 0, 100));
            await Assert.ThrowsAnyAsync<IOException>(
                () => new StoreUser(association).StoreAsync(new StoreRequest(Photograph, "1.2.3.4", Jpeg, torn), Stop));
            Assert.IsType<AssociationAbortedException>(association.Failure);

        }

        // The last ten bytes: A-ABORT, source: the service user.
        Assert.Equal([7, 0, 0, 0, 0, 4, 0, 0, 0, 0], farewell[^10..]);
    }

    [Fact]
    public async Task Giving_up_in_the_middle_aborts_the_association()
    {
        using CancellationTokenSource giveUp = CancellationTokenSource.CreateLinkedTokenSource(Stop);
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            await connection.ReceiveMessageAsync();
            await giveUp.CancelAsync();
            await connection.ReceivePduAsync<AbortPdu>();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        await Assert.ThrowsAnyAsync<OperationCanceledException>(
            () => new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(100)), giveUp.Token));

        Assert.False(association.IsOpen);
    }

    [Fact]
    public async Task A_release_by_the_peer_while_an_answer_is_due_is_told_and_answered()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            await connection.ReceiveMessageAsync();
            await connection.SendAsync(new ReleaseRequestPdu());
            await connection.ReceivePduAsync<ReleaseReplyPdu>();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        await Assert.ThrowsAsync<AssociationReleasedException>(() => new StoreUser(association).StoreAsync(StoreUserTests.Request(StoreUserTests.Bytes(100)), Stop));
    }
}
