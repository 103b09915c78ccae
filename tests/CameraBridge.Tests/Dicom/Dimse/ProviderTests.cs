using System.Net;
using System.Runtime.CompilerServices;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>The provider side, asked by our own users and by peers that keep to the script and not to the standard.</summary>
public sealed class ProviderTests
{
    private const string Photograph = SopClasses.VLPhotographicImageStorage;
    private const string Jpeg = TransferSyntaxes.JPEGBaseline8Bit;
    private const string Worklist = SopClasses.ModalityWorklistInformationModelFind;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task Objects_arrive_as_they_were_sent_over_many_associations_at_once()
    {
        int stored = 0;
        await using Provider provider = Provider.Start(Options() with
        {
            Store = async (incoming, token) =>
            {
                using MemoryStream copy = new();
                await incoming.DataSet.CopyToAsync(copy, token);
                Assert.Equal(StoreUserTests.Bytes((int)copy.Length), copy.ToArray());
                Assert.Equal((Photograph, Jpeg, "CAMBRIDGE"), (incoming.Origin.SOPClassUID, incoming.Origin.TransferSyntaxUID, incoming.Origin.CallingAETitle));
                Interlocked.Increment(ref stored);
                return HandlerAnswer.Success;
            },
        });

        await Task.WhenAll(Enumerable.Range(0, 16).Select(async number =>
        {
            await using Association association = await Association.RequestAsync(AssociationTests.Options(provider.EndPoint.Port), Stop);
            for (int i = 0; i < 10; i++)
            {
                byte[] bytes = StoreUserTests.Bytes(2 * ((number * 20000) + i));
                Assert.True((await new StoreUser(association).StoreAsync(Request(bytes), Stop)).IsDone);
            }

            await association.ReleaseAsync(Stop);
        }));

        Assert.Equal(160, stored);
    }

    [Fact]
    public async Task A_handler_that_fails_fails_its_request_only_and_is_told_to_the_log()
    {
        Exception? trouble = null;
        await using Provider provider = Provider.Start(Options() with
        {
            Store = (incoming, _) => incoming.SOPInstanceUID == "1.2.3.4" ? throw new InvalidDataException("bug") : new(new HandlerAnswer(0xA700, "full")),
            Trouble = (_, e) => trouble ??= e,
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(provider.EndPoint.Port), Stop);
        StoreUser user = new(association);

        DimseReply failed = await user.StoreAsync(Request(StoreUserTests.Bytes(3_000_000)), Stop);
        DimseReply refused = await user.StoreAsync(Request(StoreUserTests.Bytes(100)) with { SOPInstanceUID = "1.2.3.5" }, Stop);

        Assert.Equal(Statuses.ProcessingFailure, failed.Status);
        Assert.Equal((0xA700, "full"), (refused.Status, refused.ErrorComment));
        Assert.IsType<InvalidDataException>(trouble);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task Half_an_object_is_never_taken_for_a_whole_one()
    {
        TaskCompletionSource<Exception?> seen = new(TaskCreationOptions.RunContinuationsAsynchronously);
        await using Provider provider = Provider.Start(Options() with
        {
            Store = async (incoming, token) =>
            {
                Exception? thrown = await Record.ExceptionAsync(() => incoming.DataSet.CopyToAsync(Stream.Null, token));
                seen.SetResult(thrown);
                return HandlerAnswer.Success;
            },
        });
        await using (ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop))
        {
            await connection.AssociateAsync(Photograph, Jpeg);
            await connection.SendAsync(ScriptedConnection.Value(1, true, true, StoreCommand().Encode()));
            await connection.SendAsync(ScriptedConnection.Value(1, false, false, StoreUserTests.Bytes(1000)));
            connection.Reset();
        }

        Exception? told = await seen.Task.WaitAsync(Stop);
        Assert.True(told is AssociationException or OperationCanceledException, $"{told}");
    }

    [Fact]
    public async Task A_peer_that_never_asks_for_an_association_is_left_after_the_artim_timer()
    {
        FakeTimeProvider clock = new();
        await using Provider provider = Provider.Start(Options(clock));
        await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);
        Task<byte[]> close = connection.WaitForCloseAsync();

        await clock.TurnUntilDoneAsync(close, Stop);

        // PS3.8 Table 9-10, Evt18 in Sta2: AA-2, closed without a word.
        Assert.Empty(await close);
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public async Task A_peer_that_is_silent_between_or_within_messages_is_left_after_the_idle_limit(bool withinAnObject)
    {
        FakeTimeProvider clock = new();
        await using Provider provider = Provider.Start(Options(clock) with { Store = SwallowAsync });
        await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);
        await connection.AssociateAsync(Photograph, Jpeg);
        if (withinAnObject)
        {
            await connection.SendAsync(ScriptedConnection.Value(1, true, true, StoreCommand().Encode()));
            await connection.SendAsync(ScriptedConnection.Value(1, false, false, StoreUserTests.Bytes(1000)));
        }

        Task<byte[]> close = connection.WaitForCloseAsync();
        await clock.TurnUntilDoneAsync(close, Stop);

        Assert.Equal([7, 0, 0, 0, 0, 4, 0, 0, 0, 0], await close);
    }

    [Fact]
    public async Task A_handler_that_takes_its_time_is_not_the_peers_silence()
    {
        FakeTimeProvider clock = new();
        TaskCompletionSource begun = new(TaskCreationOptions.RunContinuationsAsynchronously);
        TaskCompletionSource go = new(TaskCreationOptions.RunContinuationsAsynchronously);
        await using Provider provider = Provider.Start(Options(clock) with
        {
            Store = async (incoming, token) =>
            {
                await incoming.DataSet.CopyToAsync(Stream.Null, token);
                begun.SetResult();
                await go.Task;
                return HandlerAnswer.Success;
            },
        });
        await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);
        await connection.AssociateAsync(Photograph, Jpeg);
        await connection.SendMessageAsync(1, StoreCommand(), StoreUserTests.Bytes(100));
        await begun.Task.WaitAsync(Stop);

        clock.Advance(AssociationLimits.Default.Idle * 10);
        go.SetResult();

        Assert.Equal((ushort)0, (await connection.ReceiveMessageAsync()).Command.Status);
    }

    // Result, source, reason of PS3.8 Table 9-21, from memory.
    [Theory]
    [InlineData("called", 1, 1, 7)]
    [InlineData("calling", 1, 1, 3)]
    [InlineData("application", 1, 1, 2)]
    [InlineData("version", 1, 2, 2)]
    public async Task Who_is_not_meant_is_rejected_with_the_reason(string fault, byte result, byte source, byte reason)
    {
        ProviderOptions options = Options();
        await using Provider provider = Provider.Start(options with
        {
            Acceptor = options.Acceptor with { CalledAETitles = ["PROVIDER"], CallingAETitles = ["SCRIPTED"] },
        });
        await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);

        await connection.SendAsync(new AssociateRequestPdu(
            fault == "called" ? "OTHER" : "PROVIDER",
            fault == "calling" ? "OTHER" : "SCRIPTED",
            [new RequestedContextItem(1, SopClasses.Verification, [TransferSyntaxes.ImplicitVRLittleEndian])],
            new UserInformation { MaximumLength = 16384, ImplementationClassUID = "2.25.1" })
        {
            ApplicationContext = fault == "application" ? "1.2.3" : SopClasses.ApplicationContextName,
            ProtocolVersion = fault == "version" ? (ushort)2 : (ushort)3,
        });

        AssociateRejectPdu reject = await connection.ReceivePduAsync<AssociateRejectPdu>();
        Assert.Equal((result, source, reason), ((byte)reject.Result, (byte)reject.Source, reject.Reason));
    }

    [Fact]
    public async Task One_association_more_than_allowed_is_rejected_for_now_and_others_go_on()
    {
        ProviderOptions options = Options();
        await using Provider provider = Provider.Start(options with { Acceptor = options.Acceptor with { MaximumAssociations = 2 } });
        await using Association first = await Association.RequestAsync(AssociationTests.Options(provider.EndPoint.Port), Stop);
        await using Association second = await Association.RequestAsync(AssociationTests.Options(provider.EndPoint.Port), Stop);

        AssociationRejectedException thrown = await Assert.ThrowsAsync<AssociationRejectedException>(
            () => Association.RequestAsync(AssociationTests.Options(provider.EndPoint.Port), Stop));

        Assert.Equal((RejectResult.Transient, RejectSource.ProviderPresentation, 2), (thrown.Result, thrown.RejectedBy, thrown.Reason));
        Assert.True((await new EchoUser(first).EchoAsync(Stop)).IsDone);
        await first.ReleaseAsync(Stop);
        while (provider.Associations > 1)
        {
            await Task.Yield();
        }

        await using Association third = await Association.RequestAsync(AssociationTests.Options(provider.EndPoint.Port), Stop);
        await third.ReleaseAsync(Stop);
        await second.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task Stopping_waits_for_nobody_who_is_silent_and_lets_handlers_end()
    {
        FakeTimeProvider clock = new();
        bool ended = false;
        TaskCompletionSource begun = new(TaskCreationOptions.RunContinuationsAsynchronously);
        Provider provider = Provider.Start(Options(clock) with
        {
            Store = async (incoming, token) =>
            {
                begun.SetResult();
                try
                {
                    await incoming.DataSet.CopyToAsync(Stream.Null, token);
                }
                finally
                {
                    ended = true;
                }

                return HandlerAnswer.Success;
            },
        });
        await using ScriptedConnection silent = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);
        await using ScriptedConnection sending = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);
        await sending.AssociateAsync(Photograph, Jpeg);
        await sending.SendAsync(ScriptedConnection.Value(1, true, true, StoreCommand().Encode()));
        await begun.Task.WaitAsync(Stop);

        await provider.DisposeAsync().AsTask().WaitAsync(Stop);

        Assert.True(ended);
        Assert.Empty(await silent.WaitForCloseAsync());
        Assert.Equal([7, 0, 0, 0, 0, 4, 0, 0, 0, 0], await sending.WaitForCloseAsync());
    }

    [Fact]
    public async Task A_peer_that_lingers_after_its_release_does_not_keep_its_place()
    {
        ProviderOptions options = Options();
        await using Provider provider = Provider.Start(options with { Acceptor = options.Acceptor with { MaximumAssociations = 1 } });
        await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);
        await connection.AssociateAsync(SopClasses.Verification);
        await connection.SendAsync(new ReleaseRequestPdu());
        await connection.ReceivePduAsync<ReleaseReplyPdu>();

        await AssertWellAsync(provider);
    }

    [Fact]
    public async Task A_query_is_answered_match_by_match()
    {
        await using Provider provider = Provider.Start(Options() with { Find = (query, token) => AnswerAsync(query, 3, token) });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(provider.EndPoint.Port), Stop);
        DataSet keys = new();
        keys.Set(Tags.AccessionNumber, "A*");

        FindResult result = await new FindUser(association).FindAllAsync(Worklist, keys, cancellationToken: Stop);

        Assert.Equal(["A*0", "A*1", "A*2"], result.Matches.Select(match => match.Identifier.GetString(Tags.AccessionNumber)));
        Assert.Equal(0, result.Final.Status);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_cancel_reaches_the_handler_and_ends_the_query()
    {
        await using Provider provider = Provider.Start(Options() with { Find = (query, token) => AnswerAsync(query, int.MaxValue, token) });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(provider.EndPoint.Port), Stop);

        FindResult result = await new FindUser(association).FindAllAsync(Worklist, new DataSet(), 10, Stop);

        Assert.Equal(10, result.Matches.Count);
        Assert.Equal((Statuses.Cancelled, true), (result.Final.Status, result.IsCut));
        Assert.True((await new EchoUser(association).EchoAsync(Stop)).IsDone);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task An_identifier_that_cannot_be_read_is_refused_and_the_association_goes_on()
    {
        await using Provider provider = Provider.Start(Options() with { Find = (query, token) => AnswerAsync(query, 1, token) });
        await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);
        await connection.AssociateAsync(Worklist);
        CommandSet request = new() { CommandField = CommandField.FindRequest, MessageID = 1, AffectedSOPClassUID = Worklist };

        await connection.SendMessageAsync(1, request, [8, 0, 0x50, 0, 0, 0, 0, 0x80]);

        Assert.Equal(Statuses.CannotUnderstand, (await connection.ReceiveMessageAsync()).Command.Status);
    }

    [Fact]
    public async Task What_has_no_handler_is_answered_as_not_supported()
    {
        await using Provider provider = Provider.Start(Options());
        await using Association association = await Association.RequestAsync(AssociationTests.Options(provider.EndPoint.Port), Stop);

        Assert.Equal(Statuses.SopClassNotSupported, (await new StoreUser(association).StoreAsync(Request(StoreUserTests.Bytes(5_000_000)), Stop)).Status);

        await association.ReleaseAsync(Stop);
    }

    [Theory]
    [InlineData("04 00 FFFFFFFF")]
    [InlineData("01 00 FFFFFFFF")]
    [InlineData("01 00 00000004")]
    [InlineData("47 45 54202F20")]
    public async Task A_hostile_head_is_answered_by_an_abort_at_once(string head)
    {
        await using Provider provider = Provider.Start(Options());
        await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);

        await connection.SendAsync(PduCodecTests.Hex(head));

        // Sta2: AA-1, source: the service user (PS3.8 Tables 9-9 and 9-10).
        Assert.Equal(new AbortPdu(AbortSource.User, AbortReason.NotSpecified), await connection.ReceivePduAsync());
    }

    [Fact]
    public async Task A_command_set_without_end_is_stopped_at_its_limit()
    {
        await using Provider provider = Provider.Start(Options());
        await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);
        await connection.AssociateAsync(SopClasses.Verification);

        for (int i = 0; i < 5; i++)
        {
            await connection.SendAsync(ScriptedConnection.Value(1, true, false, new byte[16000]));
        }

        Assert.IsType<AbortPdu>(await connection.ReceivePduAsync());
    }

    [Fact]
    public async Task An_object_longer_than_allowed_breaks_the_association()
    {
        await using Provider provider = Provider.Start(Options() with { Store = SwallowAsync, MaximumObjectLength = 1000 });
        await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);
        await connection.AssociateAsync(Photograph, Jpeg);

        await connection.SendAsync(ScriptedConnection.Value(1, true, true, StoreCommand().Encode()));
        await connection.SendAsync(ScriptedConnection.Value(1, false, false, StoreUserTests.Bytes(1002)));

        Assert.IsType<AbortPdu>(await connection.ReceivePduAsync());
    }

    [Fact]
    public async Task A_reset_at_any_byte_of_an_exchange_leaves_the_provider_well()
    {
        await using Provider provider = Provider.Start(Options());
        byte[] exchange =
        [
            .. PduCodec.Encode(new AssociateRequestPdu(
                "PROVIDER",
                "SCRIPTED",
                [new RequestedContextItem(1, SopClasses.Verification, [TransferSyntaxes.ImplicitVRLittleEndian])],
                new UserInformation { MaximumLength = 16384, ImplementationClassUID = "2.25.1" })),
            .. PduCodec.Encode(ScriptedConnection.Value(1, true, true, new CommandSet
            {
                CommandField = CommandField.EchoRequest, MessageID = 1, AffectedSOPClassUID = SopClasses.Verification, CommandDataSetType = 0x0101,
            }.Encode())),
            .. PduCodec.Encode(new ReleaseRequestPdu()),
        ];

        for (int cut = 0; cut <= exchange.Length; cut++)
        {
            await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(provider.EndPoint.Port, Stop);
            await connection.SendAsync(exchange.AsMemory(0, cut));
            connection.Reset();
        }

        await AssertWellAsync(provider);
    }

    internal static async Task AssertWellAsync(Provider provider)
    {
        while (provider.Associations > 0)
        {
            Stop.ThrowIfCancellationRequested();
            await Task.Yield();
        }

        await using Association association = await Association.RequestAsync(AssociationTests.Options(provider.EndPoint.Port), Stop);
        Assert.True((await new EchoUser(association).EchoAsync(Stop)).IsDone);
        await association.ReleaseAsync(Stop);
        while (provider.Associations > 0)
        {
            Stop.ThrowIfCancellationRequested();
            await Task.Yield();
        }
    }

    internal static ProviderOptions Options(TimeProvider? clock = null) => new()
    {
        EndPoint = new IPEndPoint(IPAddress.Loopback, 0),
        Acceptor = new AcceptorOptions
        {
            Offers =
            [
                new ContextOffer(Photograph, [Jpeg]),
                new ContextOffer(Worklist, [TransferSyntaxes.ExplicitVRLittleEndian, TransferSyntaxes.ImplicitVRLittleEndian]),
            ],
            TimeProvider = clock ?? TimeProvider.System,
        },
    };

    private static async IAsyncEnumerable<FindMatch> AnswerAsync(FindQuery query, int count, [EnumeratorCancellation] CancellationToken cancellationToken)
    {
        for (int i = 0; i < count; i++)
        {
            cancellationToken.ThrowIfCancellationRequested();
            DataSet match = new();
            match.Set(Tags.AccessionNumber, $"{query.Identifier.GetString(Tags.AccessionNumber)}{i}");
            yield return new FindMatch(match);
            await Task.Yield();
        }
    }

    private static async ValueTask<HandlerAnswer> SwallowAsync(IncomingObject incoming, CancellationToken cancellationToken)
    {
        await incoming.DataSet.CopyToAsync(Stream.Null, cancellationToken);
        return HandlerAnswer.Success;
    }

    private static StoreRequest Request(byte[] dataSet) => new(Photograph, "1.2.3.4", Jpeg, PixelSource.FromBytes(dataSet));

    private static CommandSet StoreCommand() => new()
    {
        CommandField = CommandField.StoreRequest,
        AffectedSOPClassUID = Photograph,
        AffectedSOPInstanceUID = "1.2.3.4",
        MessageID = 1,
        Priority = 0,
        CommandDataSetType = 1,
    };
}
