using System.Buffers;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Dicom.Dimse;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.UpperLayer;

/// <summary>Right bytes made wrong by a seeded generator: nothing may crash, hang, or cost more memory than its input is worth.</summary>
[Collection(nameof(MutationTests))]
public sealed class MutationTests
{
    private const int Seed = 20261125;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public void Fifty_thousand_mutated_pdus_are_read_or_refused()
    {
        byte[][] seeds = [.. Seeds()];
        Random random = new(Seed);
        int refused = 0;
        for (int i = 0; i < 50_000; i++)
        {
            byte[] bytes = Damage.Do(seeds[i % seeds.Length], random);
            long before = GC.GetAllocatedBytesForCurrentThread();
            refused += Read(bytes) ? 0 : 1;
            Assert.InRange(GC.GetAllocatedBytesForCurrentThread() - before, 0, 256 * 1024);
        }

        // Both must be seen: a test in which all or none is refused tests nothing.
        Assert.InRange(refused, 5_000, 49_000);
    }

    [Fact]
    public void Twenty_thousand_mutated_command_sets_are_read_or_refused()
    {
        byte[] seed = StoreRequest().Encode();
        Random random = new(Seed);
        for (int i = 0; i < 20_000; i++)
        {
            byte[] bytes = Damage.Do(seed, random);
            try
            {
                CommandSet command = CommandSet.Decode(bytes);
                _ = (command.Status, command.ErrorComment, command.OffendingElement.Count, command.AffectedSOPInstanceUID, command.CommandField);
            }
            catch (FormatException)
            {
                // Refused, as it should be.
            }
        }
    }

    [Fact]
    public async Task A_live_acceptor_outlives_five_hundred_mutated_exchanges()
    {
        await using Provider provider = Provider.Start(ProviderTests.Options() with
        {
            Store = async (incoming, token) =>
            {
                await incoming.DataSet.CopyToAsync(Stream.Null, token);
                return HandlerAnswer.Success;
            },
        });
        byte[] exchange = Exchange();
        Random random = new(Seed);
        long before = 0;
        for (int i = 0; i < 500; i++)
        {
            // The first hundred fill pools and caches.
            before = i == 100 ? GC.GetTotalMemory(forceFullCollection: true) : before;
            await PlayAsync(provider.EndPoint.Port, Damage.Do(exchange, random));
        }

        await ProviderTests.AssertWellAsync(provider);
        // 400 connections that were not let go of would hold a read buffer of 64 KiB each: 26 MB.
        Assert.InRange(GC.GetTotalMemory(forceFullCollection: true) - before, long.MinValue, 16L * 1024 * 1024);
    }

    private static async Task PlayAsync(int port, byte[] exchange)
    {
        await using ScriptedConnection connection = await ScriptedPeer.ConnectAsync(port, Stop);
        try
        {
            await connection.SendAsync(exchange);
            connection.EndSending();
        }
        catch (System.Net.Sockets.SocketException)
        {
            // It aborted and closed while we were still sending.
        }

        await connection.WaitForCloseAsync();
    }

    private static bool Read(byte[] bytes)
    {
        try
        {
            ReadOnlySequence<byte> rest = new(bytes);
            while (PduCodec.TryReadHead(rest, out PduType type, out uint length))
            {
                PduCodec.CheckHead(type, length, 16384);
                if (rest.Length - PduCodec.HeadLength < length)
                {
                    return true;
                }

                PduCodec.Decode(type, rest.Slice(PduCodec.HeadLength, length));
                rest = rest.Slice(PduCodec.HeadLength + length);
            }

            return true;
        }
        catch (MalformedPduException)
        {
            return false;
        }
    }

    private static IEnumerable<byte[]> Seeds()
    {
        UserInformation user = new()
        {
            MaximumLength = 16384,
            ImplementationClassUID = "1.2.3",
            ImplementationVersionName = "V1",
            Operations = new OperationsWindow(5, 3),
            Roles = [new RoleSelection("1.2.840.10008.1.20.1", ContextRoles.User | ContextRoles.Provider)],
            ExtendedNegotiations = [new ExtendedNegotiation("1.2.4", new byte[] { 1, 2 })],
            CommonExtendedNegotiations = [new CommonExtendedNegotiation("1.2.5", "1.2.6", ["1.2.7"])],
            Identity = new UserIdentity(2, true, new byte[] { 65 }, new byte[] { 66 }),
        };
        RequestedContextItem[] contexts = [new(1, "1.2.840.10008.1.1", ["1.2.840.10008.1.2"]), new(3, "1.2.3", ["1.2.4", "1.2.5"])];
        yield return PduCodec.Encode(new AssociateRequestPdu("A", "B", contexts, user));
        yield return PduCodec.Encode(ScriptedConnection.Acceptance(new AssociateRequestPdu("A", "B", contexts, user)) with { User = user });
        yield return PduCodec.Encode(new AssociateRejectPdu(RejectResult.Permanent, RejectSource.User, 1));
        yield return PduCodec.Encode(ScriptedConnection.Value(1, true, true, new byte[60]));
        yield return PduCodec.Encode(new ReleaseRequestPdu());
        yield return PduCodec.Encode(new AbortPdu(AbortSource.User, AbortReason.NotSpecified));
        yield return Exchange();
    }

    private static byte[] Exchange() =>
    [
        .. PduCodec.Encode(new AssociateRequestPdu(
            "PROVIDER",
            "SCRIPTED",
            [new RequestedContextItem(1, SopClasses.VLPhotographicImageStorage, [TransferSyntaxes.JPEGBaseline8Bit])],
            new UserInformation { MaximumLength = 16384, ImplementationClassUID = "2.25.1" })),
        .. PduCodec.Encode(ScriptedConnection.Value(1, true, true, StoreRequest().Encode())),
        .. PduCodec.Encode(ScriptedConnection.Value(1, false, true, new byte[200])),
        .. PduCodec.Encode(new ReleaseRequestPdu()),
    ];

    private static CommandSet StoreRequest() => new()
    {
        CommandField = CommandField.StoreRequest,
        AffectedSOPClassUID = SopClasses.VLPhotographicImageStorage,
        AffectedSOPInstanceUID = "1.2.3.4",
        MessageID = 1,
        Priority = 0,
        CommandDataSetType = 1,
    };
}

/// <summary>Runs alone, since it weighs the memory of the process.</summary>
[CollectionDefinition(nameof(MutationTests), DisableParallelization = true)]
public sealed class MutationTestsRunAlone;
