using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Deliveries;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Deliveries;

/// <summary>What a person had sent again: the same bytes, a new time to be given up, and no waiting for a pause that the person knows to be over.</summary>
public sealed class SentAgainTests
{
    // Statuses of C-STORE: PS3.4 Table B.2-1 (edition 2025e).
    private const ushort Success = 0x0000, OutOfResources = 0xA700, CannotUnderstand = 0xC000;

    private static readonly string[] Lane = [DeliveryRig.Destination];

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task What_was_refused_goes_again_under_the_same_UID_with_the_same_bytes()
    {
        ushort answer = CannotUnderstand;
        await using DeliveryRig rig = await DeliveryRig.StartAsync(_ => answer);
        await using DeliveriesStage stage = rig.Stage();
        await rig.QueueAsync(2);
        await rig.RunAsync(stage);
        Assert.All(await rig.DeliveriesAsync(), delivery => Assert.Contains("'camerabridge deliveries again'", delivery.Outcome, StringComparison.Ordinal));
        Assert.Equal(0, await rig.RunAsync(stage));

        answer = Success;
        await rig.Database.SendAgainAsync(Lane, null, "R. Example", Cancellation);
        Assert.Equal(2, await rig.RunAsync(stage));

        Assert.All(await rig.DeliveriesAsync(), delivery => Assert.Equal((DeliveryState.Stored, 2), (delivery.State, delivery.Attempts)));
        Assert.Equal(rig.Received.Take(2).Select(one => one.SOPInstanceUID), rig.Received.Skip(2).Select(one => one.SOPInstanceUID));
        Assert.Equal(rig.Received.Take(2).Select(one => one.Bytes), rig.Received.Skip(2).Select(one => one.Bytes));
    }

    [Fact]
    public async Task The_time_to_be_given_up_and_the_delays_begin_anew()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(_ => OutOfResources);
        await using DeliveriesStage stage = rig.Stage(with: to => to with
        {
            GiveUpAfter = TimeSpan.FromDays(7),
            FirstRetryDelay = TimeSpan.FromSeconds(4),
            LongestRetryDelay = TimeSpan.FromHours(1),
        });
        await rig.QueueAsync(1);
        await rig.RunAsync(stage);
        rig.FakeClock.Advance(TimeSpan.FromDays(7));
        await rig.RunAsync(stage);
        Delivery givenUp = Assert.Single(await rig.DeliveriesAsync());
        Assert.Equal(DeliveryState.GivenUp, givenUp.State);
        Assert.Contains("'camerabridge deliveries again' sends it", givenUp.Outcome, StringComparison.Ordinal);

        await rig.Database.SendAgainAsync(Lane, null, "R. Example", Cancellation);
        await rig.RunAsync(stage);

        Assert.Equal((DeliveryState.Waiting, 3), (Assert.Single(await rig.DeliveriesAsync()).State, (await rig.DeliveriesAsync())[0].Attempts));
        DateTimeOffset next = (await rig.Database.GetUndeliveredAsync(null, null, Cancellation))[0].NextAttemptAt!.Value;
        Assert.InRange(next - rig.FakeClock.GetUtcNow(), TimeSpan.FromSeconds(2), TimeSpan.FromSeconds(4));
        rig.FakeClock.Advance(TimeSpan.FromDays(6.9));
        await rig.RunAsync(stage);
        Assert.Equal(DeliveryState.Waiting, Assert.Single(await rig.DeliveriesAsync()).State);
        rig.FakeClock.Advance(TimeSpan.FromDays(0.2));
        await rig.RunAsync(stage);
        Assert.Equal(DeliveryState.GivenUp, Assert.Single(await rig.DeliveriesAsync()).State);
    }

    [Fact]
    public async Task A_persons_word_ends_the_pause_of_a_destination_that_is_back()
    {
        ushort answer = OutOfResources;
        await using DeliveryRig rig = await DeliveryRig.StartAsync(_ => answer);
        await using DeliveriesStage stage = rig.Stage(with: to => to with { FirstRetryDelay = TimeSpan.FromMinutes(10), LongestRetryDelay = TimeSpan.FromMinutes(10) });
        await rig.QueueAsync(5);
        await rig.RunAsync(stage);
        Assert.Equal(DestinationCircuit.MostFailuresInRow, rig.Received.Count);
        answer = Success;
        rig.FakeClock.Advance(TimeSpan.FromSeconds(10));
        Assert.Equal(0, await rig.RunAsync(stage));

        await rig.Database.SendAgainAsync(Lane, null, "R. Example", Cancellation);
        Assert.Equal(5, await rig.RunAsync(stage));

        Assert.All(await rig.DeliveriesAsync(), delivery => Assert.Equal(DeliveryState.Stored, delivery.State));
    }

    [Fact]
    public async Task A_persons_word_costs_a_destination_that_is_still_out_one_attempt()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(calledAETitle: "ANOTHER");
        await using DeliveriesStage stage = rig.Stage(with: to => to with { FirstRetryDelay = TimeSpan.FromMinutes(10), LongestRetryDelay = TimeSpan.FromMinutes(10) });
        await rig.QueueAsync(5);
        await rig.RunAsync(stage);
        Assert.Equal(1, (await rig.DeliveriesAsync()).Sum(delivery => delivery.Attempts));
        rig.FakeClock.Advance(TimeSpan.FromSeconds(10));

        await rig.Database.SendAgainAsync(Lane, null, "R. Example", Cancellation);
        // As by two workers, of which the second has its batch in hands when the first meets the outage.
        IReadOnlyList<Work> first = await rig.Database.LeaseAsync(Stage.Deliveries, DeliveryRig.Destination, 3, stage.Lease, Cancellation);
        IReadOnlyList<Work> second = await rig.Database.LeaseAsync(Stage.Deliveries, DeliveryRig.Destination, 3, stage.Lease, Cancellation);
        await stage.RunAsync(first, Cancellation);
        await stage.RunAsync(second, Cancellation);

        Assert.Equal((3, 2), (first.Count, second.Count));
        Assert.Equal(2, (await rig.DeliveriesAsync()).Sum(delivery => delivery.Attempts));
        Assert.Equal(0, await rig.RunAsync(stage));
    }
}
