using System.Net;
using System.Net.Sockets;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Dicom.UpperLayer;

/// <summary>The association as requestor, against a peer that keeps to the script and not to the standard.</summary>
public sealed class AssociationTests
{
    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_peer_that_is_not_there_is_told_with_the_likely_fix()
    {
        ConnectionFailedException thrown = await Assert.ThrowsAsync<ConnectionFailedException>(
            () => Association.RequestAsync(Options(PeerProcess.FreePort()), Stop));

        Assert.Contains("archive PACS1 at 127.0.0.1", thrown.Sentence, StringComparison.Ordinal);
        Assert.EndsWith("nothing listens there; is it running, and is the port right?", thrown.Sentence, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_peer_that_takes_the_connection_and_stays_silent_is_left_after_the_associate_limit()
    {
        FakeTimeProvider clock = new();
        await using ScriptedPeer peer = ScriptedPeer.Listen(connection => connection.StallAsync());
        Task<Association> request = Association.RequestAsync(Options(peer.Port, clock), Stop);

        TimeSpan waited = await clock.TurnUntilDoneAsync(request, Stop);

        PeerTimeoutException thrown = await Assert.ThrowsAsync<PeerTimeoutException>(() => request);
        Assert.Equal("Associate", thrown.Limit);
        Assert.True(waited >= AssociationLimits.Default.Associate);
        Assert.Contains("does it want TLS?", thrown.Sentence, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_peer_that_does_not_even_take_the_connection_is_left_after_the_connect_limit()
    {
        // Nobody accepts, and the queue is full: the system leaves further connections unanswered (Linux; common practice, no source).
        using Socket listener = new(AddressFamily.InterNetwork, SocketType.Stream, ProtocolType.Tcp);
        listener.Bind(new IPEndPoint(IPAddress.Loopback, 0));
        listener.Listen(0);
        int port = ((IPEndPoint)listener.LocalEndPoint!).Port;
        using Socket first = new(AddressFamily.InterNetwork, SocketType.Stream, ProtocolType.Tcp);
        using Socket second = new(AddressFamily.InterNetwork, SocketType.Stream, ProtocolType.Tcp);
        await first.ConnectAsync(IPAddress.Loopback, port, Stop);
        Task waiting = second.ConnectAsync(IPAddress.Loopback, port, Stop).AsTask();
        FakeTimeProvider clock = new();
        Task<Association> request = Association.RequestAsync(Options(port, clock), Stop);

        await clock.TurnUntilDoneAsync(request, Stop);

        PeerTimeoutException thrown = await Assert.ThrowsAsync<PeerTimeoutException>(() => request);
        Assert.Equal("Connect", thrown.Limit);
        second.Dispose();
        await Record.ExceptionAsync(() => waiting);
    }

    // Result, source and reason of PS3.8 Table 9-21, from memory.
    [Theory]
    [InlineData(1, 1, 3, "The archive PACS1 at 127.0.0.1:{0} does not know the calling AE title CAMBRIDGE: add it there, or change calling_ae_title here (A-ASSOCIATE-RJ, permanent).")]
    [InlineData(1, 1, 7, "The archive PACS1 at 127.0.0.1:{0} does not answer to the called AE title PACS1: change called_ae_title here to the title it has, capitals matter (A-ASSOCIATE-RJ, permanent).")]
    [InlineData(2, 3, 2, "The archive PACS1 at 127.0.0.1:{0} has as many associations as it allows: asked again later; allow more there, or fewer here (A-ASSOCIATE-RJ, transient).")]
    public async Task A_rejection_is_told_in_a_sentence_with_the_fix(byte result, byte source, byte reason, string sentence)
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.ReceivePduAsync<AssociateRequestPdu>();
            await connection.SendAsync(new AssociateRejectPdu((RejectResult)result, (RejectSource)source, reason));
        });

        AssociationRejectedException thrown = await Assert.ThrowsAsync<AssociationRejectedException>(
            () => Association.RequestAsync(Options(peer.Port), Stop));

        Assert.Equal(sentence.Replace("{0}", $"{peer.Port}", StringComparison.Ordinal), thrown.Sentence);
        Assert.Equal((result, source, reason), ((byte)thrown.Result, (byte)thrown.RejectedBy, thrown.Reason));
    }

    [Fact]
    public void Every_rejection_and_every_abort_that_a_byte_can_say_makes_a_sentence()
    {
        for (int source = 0; source < 256; source += 51)
        {
            for (int reason = 0; reason < 256; reason++)
            {
                AssociateRejectPdu reject = new((RejectResult)(reason & 3), (RejectSource)source, (byte)reason);
                Assert.EndsWith(").", Sentences.Rejected("peer X", "A", "B", reject), StringComparison.Ordinal);
                AbortPdu abort = new((AbortSource)source, (AbortReason)reason);
                Assert.EndsWith(".", Sentences.AbortedByPeer("peer X", abort, UpperLayerState.Sta6), StringComparison.Ordinal);
            }
        }
    }

    [Fact]
    public async Task An_abort_instead_of_an_answer_is_told()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.ReceivePduAsync<AssociateRequestPdu>();
            await connection.SendAsync(new AbortPdu(AbortSource.Provider, AbortReason.InvalidParameter));
        });

        AssociationAbortedException thrown = await Assert.ThrowsAsync<AssociationAbortedException>(
            () => Association.RequestAsync(Options(peer.Port), Stop));

        Assert.True(thrown.ByPeer);
        Assert.Contains("instead of answering the association request", thrown.Sentence, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_server_of_another_kind_is_recognised_and_told_why_it_is_left()
    {
        // The peer must have read to the end before it is ended: on a busy machine it would be ended before it reads.
        TaskCompletionSource<byte[]> farewell = new(TaskCreationOptions.RunContinuationsAsynchronously);
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.ReceivePduAsync();
            await connection.SendAsync("HTTP/1.1 400 Bad Request\r\n\r\n"u8.ToArray());
            farewell.SetResult(await connection.WaitForCloseAsync());
        });

        ProtocolException thrown = await Assert.ThrowsAsync<ProtocolException>(() => Association.RequestAsync(Options(peer.Port), Stop));
        Assert.Contains("a PDU of the unknown type 48H", thrown.Sentence, StringComparison.Ordinal);

        // A-ABORT, source 2 (provider), reason 1 (unrecognised PDU): PS3.8 Table 9-26.
        Assert.Equal([7, 0, 0, 0, 0, 4, 0, 0, 2, 1], await farewell.Task.WaitAsync(Stop));
    }

    [Fact]
    public async Task A_peer_that_closes_instead_of_answering_is_told()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(connection => connection.ReceivePduAsync());

        ConnectionFailedException thrown = await Assert.ThrowsAsync<ConnectionFailedException>(
            () => Association.RequestAsync(Options(peer.Port), Stop));

        Assert.Contains("instead of answering the association request", thrown.Sentence, StringComparison.Ordinal);
    }

    [Fact]
    public async Task An_association_is_released_in_good_order()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(Options(peer.Port), Stop);
        Assert.True(association.IsOpen);

        await association.ReleaseAsync(Stop);

        Assert.False(association.IsOpen);
        Assert.IsType<AssociationReleasedException>(association.Failure);
    }

    [Fact]
    public async Task In_a_release_collision_both_sides_answer_the_other()
    {
        // PS3.8 section 7.2.2: the requestor answers first, then the acceptor.
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            await connection.ReceivePduAsync<ReleaseRequestPdu>();
            await connection.SendAsync(new ReleaseRequestPdu());
            await connection.ReceivePduAsync<ReleaseReplyPdu>();
            await connection.SendAsync(new ReleaseReplyPdu());
            await connection.WaitForCloseAsync();
        });
        await using Association association = await Association.RequestAsync(Options(peer.Port), Stop);

        await association.ReleaseAsync(Stop);

        Assert.IsType<AssociationReleasedException>(association.Failure);
    }

    [Fact]
    public async Task A_release_that_is_not_answered_ends_with_the_release_limit()
    {
        FakeTimeProvider clock = new();
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            await connection.StallAsync();
        });
        await using Association association = await Association.RequestAsync(Options(peer.Port, clock), Stop);
        Task release = association.ReleaseAsync(Stop);

        await clock.TurnUntilDoneAsync(release, Stop);

        Assert.Equal("Release", (await Assert.ThrowsAsync<PeerTimeoutException>(() => release)).Limit);
    }

    [Theory]
    [InlineData("01", "an A-ASSOCIATE-RQ")]
    [InlineData("02", "an A-ASSOCIATE-AC")]
    [InlineData("03", "an A-ASSOCIATE-RJ")]
    [InlineData("06", "an A-RELEASE-RP")]
    public async Task A_pdu_that_has_no_place_in_an_association_breaks_it(string type, string name)
    {
        Pdu pdu = type switch
        {
            "01" => new AssociateRequestPdu("A", "B", [], new UserInformation()),
            "02" => new AssociateAcceptPdu("A", "B", [], new UserInformation()),
            "03" => new AssociateRejectPdu(RejectResult.Permanent, RejectSource.User, 1),
            _ => new ReleaseReplyPdu(),
        };
        byte[] farewell = [];
        await using (ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            await connection.SendAsync(pdu);
            farewell = await connection.WaitForCloseAsync();
        }))
        {
            await using Association association = await Association.RequestAsync(Options(peer.Port), Stop);
            await association.Completion.WaitAsync(Stop);
            Assert.Contains(name, Assert.IsType<ProtocolException>(association.Failure).Sentence, StringComparison.Ordinal);
            await Assert.ThrowsAsync<ProtocolException>(() => new EchoUser(association).EchoAsync(Stop));

        }

        // A-ABORT, provider, unexpected PDU.
        Assert.Equal([7, 0, 0, 0, 0, 4, 0, 0, 2, 2], farewell);
    }

    [Fact]
    public async Task A_pdu_longer_than_announced_breaks_the_association_before_it_is_read()
    {
        byte[] farewell = [];
        await using (ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            // The head of a P-DATA-TF of 4097 bytes where 4096 were announced; not one byte of it follows.
            await connection.SendAsync((byte[])[4, 0, 0, 0, 0x10, 0x01]);
            farewell = await connection.WaitForCloseAsync();
        }))
        {
            await using Association association = await Association.RequestAsync(Options(peer.Port) with { MaximumReceiveLength = 4096 }, Stop);
            await association.Completion.WaitAsync(Stop);
            Assert.Contains("4097 bytes, where 6 to 4096 are allowed", Assert.IsType<ProtocolException>(association.Failure).Sentence, StringComparison.Ordinal);

        }

        Assert.Equal([7, 0, 0, 0, 0, 4, 0, 0, 2, 6], farewell);
    }

    [Fact]
    public async Task Our_own_limit_is_announced()
    {
        AssociateRequestPdu? request = null;
        await using (ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            request = await connection.AcceptAsync();
            await connection.AnswerReleaseAsync();
        }))
        {
            await using Association association = await Association.RequestAsync(Options(peer.Port) with { MaximumReceiveLength = 4097 }, Stop);
            await association.ReleaseAsync(Stop);

        }

        Assert.Equal(4097u, request!.User.MaximumLength);
    }

    [Theory]
    [InlineData("")]
    [InlineData("SEVENTEENLETTERSX")]
    [InlineData("BACK\\SLASH")]
    [InlineData("    ")]
    public async Task An_ae_title_that_is_none_is_refused_before_anything_is_sent(string title) =>
        await Assert.ThrowsAnyAsync<ArgumentException>(() => Association.RequestAsync(Options(1) with { CallingAETitle = title }, Stop));

    internal static AssociationOptions Options(int port, TimeProvider? clock = null) => new()
    {
        Host = "127.0.0.1",
        Port = port,
        CallingAETitle = "CAMBRIDGE",
        CalledAETitle = "PACS1",
        PeerKind = "archive",
        Contexts =
        [
            EchoUser.Proposal,
            new ContextProposal(SopClasses.VLPhotographicImageStorage, TransferSyntaxes.JPEGBaseline8Bit),
            new ContextProposal(SopClasses.ModalityWorklistInformationModelFind, TransferSyntaxes.ImplicitVRLittleEndian),
        ],
        TimeProvider = clock ?? TimeProvider.System,
    };
}
