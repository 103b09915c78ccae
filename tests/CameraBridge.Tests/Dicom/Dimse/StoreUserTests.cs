using System.Buffers;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>C-STORE as user against scripted peers: what goes over the wire.</summary>
public sealed class StoreUserTests
{
    private const string Photograph = SopClasses.VLPhotographicImageStorage;
    private const string Jpeg = TransferSyntaxes.JPEGBaseline8Bit;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    // Limits around what the fragments of 20,000 bytes need, odd ones, the least that is possible, and none (0).

    [Theory]
    [InlineData(0u, 131072)]
    [InlineData(8u, 8)]
    [InlineData(9u, 9)]
    [InlineData(101u, 101)]
    [InlineData(16383u, 16383)]
    [InlineData(16384u, 16384)]
    [InlineData(20005u, 20005)]
    [InlineData(20006u, 20006)]
    [InlineData(20007u, 20007)]
    [InlineData(uint.MaxValue, 131072)]
    public async Task No_pdu_is_longer_than_the_peer_wants_and_no_fragment_is_odd(uint announced, int most)
    {
        byte[] sent = Bytes(20000);
        List<byte> received = [];
        await using (ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync(announced);
            bool done = false;
            List<byte> commandBytes = [];
            while (!done)
            {
                DataPdu data = await connection.ReceivePduAsync<DataPdu>();
                Assert.True(PduCodec.Encode(data).Length - PduCodec.HeadLength <= most);
                foreach (PresentationDataValue value in data.Values)
                {
                    Assert.Equal(0, value.Fragment.Length & 1);
                    (value.IsCommand ? commandBytes : received).AddRange(value.Fragment.ToArray());
                    done = value is { IsLast: true, IsCommand: false };
                }
            }

            CommandSet command = CommandSet.Decode(commandBytes.ToArray());
            await connection.SendMessageAsync(3, CommandSet.ResponseTo(command, 0));
            await connection.AnswerReleaseAsync();
        }))
        {
            await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);
            Assert.Equal(most, association.MaximumSendLength);
            Assert.True((await new StoreUser(association).StoreAsync(Request(sent), Stop)).IsDone);
            await association.ReleaseAsync(Stop);

        }

        Assert.Equal(sent, received.ToArray());
    }

    [Fact]
    public async Task A_limit_that_no_data_fits_into_breaks_the_association()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync(7);
            await connection.WaitForCloseAsync();
        });

        await Assert.ThrowsAsync<ProtocolException>(() => Association.RequestAsync(AssociationTests.Options(peer.Port), Stop));
    }

    [Fact]
    public async Task The_command_says_what_is_stored()
    {
        ScriptedMessage? message = null;
        await using (ScriptedPeer peer = AnsweringPeer(received =>
        {
            message = received;
            return 0xB000;
        }))
        {
            await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);
            DimseReply reply = await new StoreUser(association).StoreAsync(Request(Bytes(10)), Stop);
            Assert.Equal((0xB000, true, StatusClass.Warning), (reply.Status, reply.IsDone, reply.Meaning.Class));
            await association.ReleaseAsync(Stop);

        }

        // PS3.7 Table 9.3-1.
        Assert.Equal(3, message!.ContextId);
        Assert.Equal(CommandField.StoreRequest, message.Command.CommandField);
        Assert.Equal((Photograph, "1.2.3.4", (ushort)0), (message.Command.AffectedSOPClassUID, message.Command.AffectedSOPInstanceUID, message.Command.Priority!.Value));
        Assert.Equal(Bytes(10), message.DataSet);
    }

    [Fact]
    public async Task A_thousand_objects_go_over_one_association()
    {
        await using ScriptedPeer peer = AnsweringPeer(_ => 0);
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);
        StoreUser user = new(association);

        for (int i = 0; i < 1000; i++)
        {
            Assert.True((await user.StoreAsync(Request(Bytes(i * 2)), Stop)).IsDone);
        }

        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task With_a_window_answers_may_come_in_any_order()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync(operations: new OperationsWindow(3, 1));
            ScriptedMessage[] messages = [await connection.ReceiveMessageAsync(), await connection.ReceiveMessageAsync(), await connection.ReceiveMessageAsync()];
            foreach (ScriptedMessage message in messages.Reverse())
            {
                await connection.SendMessageAsync(3, CommandSet.ResponseTo(message.Command, (ushort)(0xB000 + message.DataSet.Length)));
            }

            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(
            AssociationTests.Options(peer.Port) with { OperationsInvoked = 3 }, Stop);
        StoreUser user = new(association);

        DimseReply[] replies = await Task.WhenAll(Enumerable.Range(1, 3).Select(i => user.StoreAsync(Request(Bytes(2 * i)), Stop)));

        Assert.Equal([0xB002, 0xB004, 0xB006], replies.Select(reply => (int)reply.Status));
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task Without_a_window_the_next_object_waits_for_the_answer()
    {
        int outstanding = 0;
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            for (int i = 0; i < 20; i++)
            {
                ScriptedMessage message = await connection.ReceiveMessageAsync();
                Assert.Equal(1, Interlocked.Increment(ref outstanding));
                Interlocked.Decrement(ref outstanding);
                await connection.SendMessageAsync(3, CommandSet.ResponseTo(message.Command, 0));
            }

            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port) with { OperationsInvoked = 8 }, Stop);
        Assert.Equal(1, association.Window.Invoked);
        StoreUser user = new(association);

        await Task.WhenAll(Enumerable.Range(0, 20).Select(_ => user.StoreAsync(Request(Bytes(100)), Stop)));

        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_class_that_was_not_accepted_is_not_sent_and_the_association_goes_on()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            AssociateRequestPdu request = await connection.ReceivePduAsync<AssociateRequestPdu>();
            AssociateAcceptPdu all = ScriptedConnection.Acceptance(request);
            await connection.SendAsync(all with
            {
                Contexts = [all.Contexts[0], all.Contexts[1] with { Result = ContextResult.TransferSyntaxesNotSupported }, all.Contexts[2]],
            });
            ScriptedMessage echo = await connection.ReceiveMessageAsync();
            Assert.Equal(CommandField.EchoRequest, echo.Command.CommandField);
            await connection.SendMessageAsync(1, CommandSet.ResponseTo(echo.Command, 0));
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);
        StoreUser user = new(association);
        Assert.False(user.CanStore(Photograph, Jpeg));

        ContextNotAcceptedException thrown = await Assert.ThrowsAsync<ContextNotAcceptedException>(() => user.StoreAsync(Request(Bytes(100)), Stop));

        Assert.EndsWith("it knows the SOP class, but not in this transfer syntax: enable it there.", thrown.Sentence, StringComparison.Ordinal);
        Assert.True((await new EchoUser(association).EchoAsync(Stop)).IsDone);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_data_set_of_odd_length_is_not_sent()
    {
        await using ScriptedPeer peer = AnsweringPeer(_ => 0);
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        await Assert.ThrowsAsync<ArgumentException>(() => new StoreUser(association).StoreAsync(Request(Bytes(3)), Stop));

        Assert.True((await new StoreUser(association).StoreAsync(Request(Bytes(4)), Stop)).IsDone);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_small_object_leaves_in_a_single_write()
    {
        // One write of a few kilobytes arrives at once on loopback (common practice, no source); two would mostly not.
        int[] pieces = new int[50];
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            for (int i = 0; i < pieces.Length; i++)
            {
                pieces[i] = await connection.ReceiveOnceAsync();
                await connection.SendMessageAsync(3, CommandSet.ResponseTo(StoreCommand((ushort)(i + 1)), 0));
            }

            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);
        for (int i = 0; i < pieces.Length; i++)
        {
            await new StoreUser(association).StoreAsync(Request(Bytes(3000)), Stop);
        }

        await association.ReleaseAsync(Stop);
        Assert.All(pieces, piece => Assert.True(piece > 3000 + (2 * 12)));
    }

    internal static ScriptedPeer AnsweringPeer(Func<ScriptedMessage, ushort> status) => ScriptedPeer.Listen(async connection =>
    {
        await connection.AcceptAsync();
        while (true)
        {
            ScriptedMessage message;
            try
            {
                message = await connection.ReceiveMessageAsync();
            }
            catch (InvalidOperationException)
            {
                // Something else than data: the release.
                await connection.SendAsync(new ReleaseReplyPdu());
                return;
            }

            await connection.SendMessageAsync(message.ContextId, CommandSet.ResponseTo(message.Command, status(message)));
        }
    });

    internal static byte[] Bytes(int count)
    {
        byte[] bytes = new byte[count];
        new Random(4711).NextBytes(bytes);
        return bytes;
    }

    internal static StoreRequest Request(byte[] dataSet) => new(Photograph, "1.2.3.4", Jpeg, PixelSource.FromBytes(dataSet));

    internal static CommandSet StoreCommand(ushort messageId) => new()
    {
        CommandField = CommandField.StoreRequest,
        AffectedSOPClassUID = Photograph,
        AffectedSOPInstanceUID = "1.2.3.4",
        MessageID = messageId,
    };
}
