using System.Net;
using System.Net.Sockets;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Deliveries;

/// <summary>Deliveries against an archive on the loopback that answers, refuses, breaks off and stalls.</summary>
public sealed class DeliveriesStageTests
{
    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task Objects_arrive_byte_by_byte_over_one_association_that_the_next_batch_uses_again()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync();
        await using var relay = new CuttingRelay(rig.ArchivePort, _ => long.MaxValue);
        await using DeliveriesStage stage = rig.Stage(relay.Port);
        await rig.QueueAsync(5);
        await rig.RunAsync(stage);
        await rig.QueueAsync(3, "2");
        await rig.RunAsync(stage);

        Assert.All(await rig.DeliveriesAsync(), delivery => Assert.Equal((DeliveryState.Stored, (ushort)0, 1), (delivery.State, delivery.Status!.Value, delivery.Attempts)));
        Assert.Equal(1, relay.Connections);
        Assert.Equal(1, stage.IdleAssociations);
        string[] places = [.. Enumerable.Range(1, 5).Select(i => $"1/{i:0000}.jpg"), .. Enumerable.Range(1, 3).Select(i => $"2/{i:0000}.jpg")];
        Assert.Equal(places.Select(DeliveryRig.ObjectOf), rig.Received.Select(received => received.Bytes));
    }

    // PS3.4 Table B.2-1 (C-STORE statuses) and PS3.7 Annex C (0110, 0111, 0122), edition 2025e: class. What is done about it is the program's own rule.
    [Theory]
    [InlineData(0x0000, nameof(DeliveryState.Stored))]
    [InlineData(0xB000, nameof(DeliveryState.StoredWithWarning))]
    [InlineData(0xB006, nameof(DeliveryState.StoredWithWarning))]
    [InlineData(0xB007, nameof(DeliveryState.StoredWithWarning))]
    [InlineData(0x0111, nameof(DeliveryState.StoredWithWarning))]
    [InlineData(0xA700, nameof(DeliveryState.Waiting))]
    [InlineData(0xA7FF, nameof(DeliveryState.Waiting))]
    [InlineData(0x0110, nameof(DeliveryState.Waiting))]
    [InlineData(0xA900, nameof(DeliveryState.Refused))]
    [InlineData(0xC000, nameof(DeliveryState.Refused))]
    [InlineData(0xC123, nameof(DeliveryState.Refused))]
    [InlineData(0x0122, nameof(DeliveryState.Refused))]
    [InlineData(0x1234, nameof(DeliveryState.Refused))]
    public async Task Each_status_has_its_outcome(int status, string state)
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(_ => (ushort)status);
        await using DeliveriesStage stage = rig.Stage();
        await rig.QueueAsync(1);
        await rig.RunAsync(stage);

        Delivery delivery = Assert.Single(await rig.DeliveriesAsync());
        Assert.Equal((state, (ushort)status, 1), (delivery.State.ToString(), delivery.Status!.Value, delivery.Attempts));
        Assert.Contains($"archive ARCHIVE at 127.0.0.1:{rig.ArchivePort}", delivery.Outcome, StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_the_archive_cannot_take_now_is_sent_again_after_its_pause_while_others_go_on()
    {
        int asked = 0;
        await using DeliveryRig rig = await DeliveryRig.StartAsync(incoming => incoming.SOPInstanceUID == "2.25.1" && asked++ == 0 ? (ushort)0xA700 : (ushort)0);
        await using DeliveriesStage stage = rig.Stage(with: to => to with { FirstRetryDelay = TimeSpan.FromSeconds(4) });
        await rig.QueueAsync(3);
        await rig.RunAsync(stage);

        Assert.Equal([DeliveryState.Waiting, DeliveryState.Stored, DeliveryState.Stored], (await rig.DeliveriesAsync()).Select(delivery => delivery.State));
        rig.FakeClock.Advance(TimeSpan.FromSeconds(1.9));
        Assert.Equal(0, await rig.RunAsync(stage));
        rig.FakeClock.Advance(TimeSpan.FromSeconds(2.1));
        Assert.Equal(1, await rig.RunAsync(stage));
        Assert.Equal(2, (await rig.DeliveriesAsync())[0].Attempts);
        Assert.All(await rig.DeliveriesAsync(), delivery => Assert.Equal(DeliveryState.Stored, delivery.State));
        Assert.Equal(rig.Received.First().Bytes, rig.Received.Last().Bytes);
    }

    [Fact]
    public async Task A_context_that_is_not_accepted_is_refused_with_what_was_asked()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync();
        await using DeliveriesStage stage = rig.Stage();
        await rig.QueueAsync(1);
        CameraBridge.Persistence.Work work = Assert.Single(await rig.Database.LeaseAsync(
            CameraBridge.Persistence.Stage.Deliveries, DeliveryRig.Destination, 1, stage.Lease, Cancellation));
        await using var associations = new StoreAssociations(
            new CameraBridge.Configuration.PeerConfiguration { Name = "archive", Host = "127.0.0.1", Port = rig.ArchivePort, CalledAETitle = "ARCHIVE" }, "CAMERABRIDGE", rig.Clock);
        CameraBridge.Persistence.DeliveryTask task = Assert.Single(await rig.Database.GetDeliveriesAsync([work], Cancellation));
        ImagingObject foreign = task.Object with { SOPClassUID = "1.2.840.10008.5.1.4.1.1.77.1.1" };
        await using var sender = new StoreBatch(
            associations,
            [new(foreign.SOPClassUID, foreign.TransferSyntaxUID), new(task.Object.SOPClassUID, task.Object.TransferSyntaxUID)],
            new LinkShare([], TimeZoneInfo.Utc, rig.Clock),
            rig.SpoolFolder);

        Attempt refused = await sender.SendAsync(foreign, Cancellation);
        Attempt stored = await sender.SendAsync(task.Object, Cancellation);

        Assert.IsType<DeliveryOutcome.Refused>(refused.Outcome);
        Assert.Contains("VL Endoscopic Image Storage", refused.Outcome.Words, StringComparison.Ordinal);
        Assert.Contains("JPEG Baseline", refused.Outcome.Words, StringComparison.Ordinal);
        Assert.Equal(Blame.None, refused.Blame);
        Assert.IsType<DeliveryOutcome.Stored>(stored.Outcome);
    }

    [Fact]
    public async Task A_dead_archive_costs_one_attempt_and_pauses_its_whole_lane()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync();
        int closed = FreePort();
        await using DeliveriesStage stage = rig.Stage(closed, to => to with { FirstRetryDelay = TimeSpan.FromSeconds(10) });
        await rig.QueueAsync(100);

        Assert.Equal(64, await rig.RunAsync(stage));

        IReadOnlyList<Delivery> deliveries = await rig.DeliveriesAsync();
        Assert.All(deliveries, delivery => Assert.Equal(DeliveryState.Waiting, delivery.State));
        Assert.Equal(1, deliveries.Sum(delivery => delivery.Attempts));
        Assert.Contains($"127.0.0.1:{closed}", deliveries[0].Outcome, StringComparison.Ordinal);
        Assert.Equal(0, await rig.RunAsync(stage));

        // The pause lies in the upper half of 10 s, the next one in that of 20 s.
        rig.FakeClock.Advance(TimeSpan.FromSeconds(4.9));
        Assert.Equal(0, await rig.RunAsync(stage));
        rig.FakeClock.Advance(TimeSpan.FromSeconds(5.1));
        Assert.Equal(64, await rig.RunAsync(stage));
        rig.FakeClock.Advance(TimeSpan.FromSeconds(9.9));
        Assert.Equal(0, await rig.RunAsync(stage));
        Assert.Equal(2, (await rig.DeliveriesAsync()).Sum(delivery => delivery.Attempts));
    }

    [Fact]
    public async Task An_archive_that_comes_back_gets_everything()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync();
        await using var relay = new CuttingRelay(rig.ArchivePort, number => number < 2 ? 0 : long.MaxValue);
        await using DeliveriesStage stage = rig.Stage(relay.Port);
        await rig.QueueAsync(70);
        for (int i = 0; i < 20 && (await rig.DeliveriesAsync()).Any(delivery => delivery.State == DeliveryState.Waiting); i++)
        {
            await rig.RunAsync(stage);
            rig.FakeClock.Advance(TimeSpan.FromMinutes(1));
        }

        Assert.All(await rig.DeliveriesAsync(), delivery => Assert.Equal(DeliveryState.Stored, delivery.State));
        Assert.Equal(70, rig.Received.Select(received => received.SOPInstanceUID).Distinct().Count());
    }

    [Fact]
    public async Task A_connection_lost_in_mid_object_breaks_the_association_and_the_others_go_over_a_new_one()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync();

        // About 60 KB an object: the second one is cut in its middle.
        await using var relay = new CuttingRelay(rig.ArchivePort, number => number == 0 ? 90_000 : long.MaxValue);
        await using DeliveriesStage stage = rig.Stage(relay.Port);
        await rig.QueueAsync(4);
        await rig.RunAsync(stage);

        IReadOnlyList<Delivery> deliveries = await rig.DeliveriesAsync();
        Assert.Equal(
            [DeliveryState.Stored, DeliveryState.Waiting, DeliveryState.Stored, DeliveryState.Stored], deliveries.Select(delivery => delivery.State));
        Assert.Contains("the same bytes are sent again under the same UID", deliveries[1].Outcome, StringComparison.Ordinal);
        rig.FakeClock.Advance(TimeSpan.FromMinutes(1));
        Assert.Equal(1, await rig.RunAsync(stage));
        Assert.Equal(["2.25.1", "2.25.3", "2.25.4", "2.25.2"], rig.Received.Select(received => received.SOPInstanceUID));
        Assert.Equal(DeliveryRig.ObjectOf("1/0002.jpg"), rig.Received.Last().Bytes);
    }

    [Fact]
    public async Task Objects_that_fail_one_after_the_other_pause_the_lane()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync();
        await using var relay = new CuttingRelay(rig.ArchivePort, _ => 30_000);
        await using DeliveriesStage stage = rig.Stage(relay.Port);
        await rig.QueueAsync(20);
        await rig.RunAsync(stage);

        Assert.Equal(DestinationCircuit.MostFailuresInRow, (await rig.DeliveriesAsync()).Sum(delivery => delivery.Attempts));
        Assert.Equal(0, await rig.RunAsync(stage));
    }

    [Fact]
    public async Task An_archive_that_stalls_in_mid_object_is_left_after_the_limit()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(clock: TimeProvider.System);
        await using var relay = new CuttingRelay(rig.ArchivePort, number => number == 0 ? 30_000 : long.MaxValue, silent: true);
        await using DeliveriesStage stage = rig.Stage(relay.Port, responseLimit: TimeSpan.FromMilliseconds(300));
        await rig.QueueAsync(2);
        await rig.RunAsync(stage);

        IReadOnlyList<Delivery> deliveries = await rig.DeliveriesAsync();
        Assert.Equal([DeliveryState.Waiting, DeliveryState.Stored], deliveries.Select(delivery => delivery.State));
    }

    [Fact]
    public async Task A_rejected_association_is_told_and_pauses_the_lane()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(calledAETitle: "OTHER");
        await using DeliveriesStage stage = rig.Stage();
        await rig.QueueAsync(3);
        await rig.RunAsync(stage);

        IReadOnlyList<Delivery> deliveries = await rig.DeliveriesAsync();
        Assert.Equal([1, 0, 0], deliveries.Select(delivery => delivery.Attempts));
        Assert.Contains("AE title", deliveries[0].Outcome, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_missing_or_short_spool_file_refuses_its_object_alone()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync();
        await using DeliveriesStage stage = rig.Stage();
        await rig.QueueAsync(4);
        File.Delete(Path.Combine(rig.SpoolFolder, "1-0002.jpg"));
        await File.WriteAllBytesAsync(Path.Combine(rig.SpoolFolder, "1-0003.jpg"), new byte[100], Cancellation);
        await rig.RunAsync(stage);

        IReadOnlyList<Delivery> deliveries = await rig.DeliveriesAsync();
        Assert.Equal([DeliveryState.Stored, DeliveryState.Refused, DeliveryState.Refused, DeliveryState.Stored], deliveries.Select(delivery => delivery.State));
        Assert.Contains("Restore the spool from a backup", deliveries[1].Outcome, StringComparison.Ordinal);
        Assert.Equal(2, rig.Received.Count);
    }

    [Fact]
    public async Task After_its_time_a_delivery_that_still_fails_is_given_up()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(_ => 0xA700);
        await using DeliveriesStage stage = rig.Stage(with: to => to with { GiveUpAfter = TimeSpan.FromDays(7) });
        await rig.QueueAsync(1);
        await rig.RunAsync(stage);
        rig.FakeClock.Advance(TimeSpan.FromDays(7));
        await rig.RunAsync(stage);

        Delivery delivery = Assert.Single(await rig.DeliveriesAsync());
        Assert.Equal((DeliveryState.GivenUp, 2), (delivery.State, delivery.Attempts));
        Assert.StartsWith("Given up after 7 days; nothing was deleted", delivery.Outcome, StringComparison.Ordinal);
        Assert.Empty(await rig.Database.GetOpenWorkAsync(null, Cancellation));
    }

    [Fact]
    public async Task An_idle_association_is_released_after_its_limit()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync();
        await using DeliveriesStage stage = rig.Stage();
        await rig.QueueAsync(1);
        await rig.RunAsync(stage);
        Assert.Equal(1, stage.IdleAssociations);

        rig.FakeClock.Advance(StoreAssociations.IdleLimit);

        Assert.Equal(0, stage.IdleAssociations);
        await rig.QueueAsync(1, "2");
        await rig.RunAsync(stage);
        Assert.All(await rig.DeliveriesAsync(), delivery => Assert.Equal(DeliveryState.Stored, delivery.State));
    }

    [Fact]
    public async Task An_association_that_died_while_idle_costs_nobody_an_attempt()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync();

        // The first connection lets the first object through and dies with the first bytes of the second.
        await using var relay = new CuttingRelay(rig.ArchivePort, number => number == 0 ? 61_500 : long.MaxValue);
        await using DeliveriesStage stage = rig.Stage(relay.Port);
        await rig.QueueAsync(1);
        await rig.RunAsync(stage);
        await rig.QueueAsync(1, "2");
        await rig.RunAsync(stage);

        Assert.All(await rig.DeliveriesAsync(), delivery => Assert.Equal((DeliveryState.Stored, 1), (delivery.State, delivery.Attempts)));
        Assert.Equal(2, relay.Connections);
    }

    [Fact]
    public async Task What_was_stored_before_the_service_stops_is_written_and_the_rest_stays_due()
    {
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        await using DeliveryRig rig = await DeliveryRig.StartAsync(incoming =>
        {
            if (incoming.SOPInstanceUID == "2.25.3")
            {
                stop.Cancel();
            }

            return 0;
        });
        await using DeliveriesStage stage = rig.Stage();
        await rig.QueueAsync(10);
        IReadOnlyList<CameraBridge.Persistence.Work> batch = await rig.Database.LeaseAsync(
            CameraBridge.Persistence.Stage.Deliveries, DeliveryRig.Destination, 64, stage.Lease, Cancellation);

        await Assert.ThrowsAnyAsync<OperationCanceledException>(() => stage.RunAsync(batch, stop.Token));

        Assert.Equal(3, (await rig.DeliveriesAsync()).Count(delivery => delivery.State == DeliveryState.Stored));
        Assert.Equal(3, rig.Received.Count);
    }

    [Fact]
    public void Pauses_double_with_jitter_up_to_the_longest()
    {
        var delays = new RetryDelays(TimeSpan.FromSeconds(5), TimeSpan.FromMinutes(15), new Random(7));

        for (int failures = 0; failures < 200; failures++)
        {
            double full = Math.Min(900, 5 * Math.Pow(2, Math.Min(failures, 40)));
            Assert.InRange(delays.After(failures).TotalSeconds, full / 2, full);
        }

        Assert.True(Enumerable.Range(0, 20).Select(_ => delays.After(3)).Distinct().Count() > 10);
    }

    private static int FreePort()
    {
        using var listener = new TcpListener(IPAddress.Loopback, 0);
        listener.Start();
        return ((IPEndPoint)listener.LocalEndpoint).Port;
    }
}
