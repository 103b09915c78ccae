using System.Net;
using System.Net.Sockets;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Pipeline.Sittings;
using CameraBridge.Tests.Persistence;
using CameraBridge.Tests.Pipeline.Deliveries;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;

namespace CameraBridge.Tests.Pipeline;

/// <summary>All stages together until nothing is left to do. Cues, matches and objects are played by short stand-ins; sittings and deliveries are real.</summary>
public sealed class PipelineRunTests
{
    private static readonly TimeSpan Limit = TimeSpan.FromSeconds(30);

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_run_ends_when_every_capture_is_delivered()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(clock: TimeProvider.System);
        var signal = new WorkSignal();
        await using PipelineRun run = Run(rig, signal, () => rig.Stage());

        IReadOnlyList<OpenWork> left = await run.RunUntilQuietAsync(
            cancellation => TakeAsync(rig, signal, folders: 20, captures: 10, cancellation), "stick", Limit, Cancellation).WaitAsync(Limit, TimeProvider.System, Cancellation);

        Assert.Empty(left);
        Assert.Equal(200, rig.Received.Select(received => received.SOPInstanceUID).Distinct().Count());
        Assert.Equal(200, rig.Received.Count);
        Assert.All(await rig.DeliveriesAsync(), delivery => Assert.Equal(DeliveryState.Stored, delivery.State));
    }

    [Fact]
    public async Task A_run_gives_up_its_patience_with_a_dead_archive_and_tells_what_is_left()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(clock: TimeProvider.System);
        var signal = new WorkSignal();
        using var closed = new TcpListener(IPAddress.Loopback, 0);
        closed.Start();
        int port = ((IPEndPoint)closed.LocalEndpoint).Port;
        closed.Stop();
        await using PipelineRun run = Run(rig, signal, () => rig.Stage(port));

        IReadOnlyList<OpenWork> left = await run.RunUntilQuietAsync(
            cancellation => TakeAsync(rig, signal, folders: 2, captures: 3, cancellation), "stick", TimeSpan.FromMilliseconds(300), Cancellation)
            .WaitAsync(Limit, TimeProvider.System, Cancellation);

        OpenWork open = Assert.Single(left);
        Assert.Equal((Stage.Deliveries, DeliveryRig.Destination, 6), (open.Stage, open.Lane, open.Later));
    }

    [Fact]
    public async Task Work_of_another_source_and_of_a_destination_that_is_gone_is_not_waited_for()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(clock: TimeProvider.System);
        var signal = new WorkSignal();
        await rig.QueueAsync(2, "before");
        await rig.Database.AddCapturesAsync([FlowSteps.Capture("9/a.jpg", source: "share")], TimeSpan.FromHours(1), Cancellation);
        await using PipelineRun run = Run(rig, signal, delivering: null);

        IReadOnlyList<OpenWork> left = await run.RunUntilQuietAsync(_ => Task.FromResult(true), "stick", Limit, Cancellation).WaitAsync(Limit, TimeProvider.System, Cancellation);

        Assert.Equal((Stage.Deliveries, 2), (Assert.Single(left).Stage, left[0].Due));
    }

    [Fact]
    public async Task What_fails_ends_the_run_with_its_error_and_stops_the_rest()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(clock: TimeProvider.System);
        await using PipelineRun run = Run(rig, new WorkSignal(), () => rig.Stage());

        await Assert.ThrowsAsync<InvalidDataException>(() =>
            run.RunAsync(_ => Task.FromException(new InvalidDataException("intake")), Cancellation).WaitAsync(Limit, TimeProvider.System, Cancellation));
    }

    [Fact]
    public async Task A_cancelled_run_ends_without_an_error()
    {
        await using DeliveryRig rig = await DeliveryRig.StartAsync(clock: TimeProvider.System);
        await using PipelineRun run = Run(rig, new WorkSignal(), () => rig.Stage());
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);

        Task running = run.RunAsync(token => Task.Delay(Timeout.InfiniteTimeSpan, TimeProvider.System, token), stop.Token);
        await stop.CancelAsync();

        await running.WaitAsync(Limit, TimeProvider.System, Cancellation);
    }

    private static PipelineRun Run(DeliveryRig rig, WorkSignal signal, Func<DeliveriesStage>? delivering)
    {
        IPipelineDatabase database = rig.Database;
        IStage[] stages =
        [
            new StandIn(Stage.Cues, work => database.CompleteCuesAsync(
                [.. work.Select(piece => new CaptureReading(piece, DateTimeOffset.UnixEpoch, "file", []))], Cancellation)),
            new SittingsStage(database, NullLogger<SittingsStage>.Instance),
            new StandIn(Stage.Matches, async work =>
            {
                foreach (Work piece in work)
                {
                    await database.CompleteMatchAsync(piece, new Match { SittingId = piece.SubjectId, StepJson = "{}" }, Cancellation);
                }
            }),
            new StandIn(Stage.Objects, async work =>
            {
                foreach (Work piece in work)
                {
                    IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(piece.SubjectId, Cancellation);
                    await database.CompleteObjectsAsync(piece, [.. captures.Select(ObjectOf)], [], [], Cancellation);
                }
            }),
            .. delivering is null ? Array.Empty<IStage>() : [delivering()],
        ];
        return new PipelineRun(stages, database, signal, rig.Clock, NullLoggerFactory.Instance);
    }

    private static ImagingObject ObjectOf(Capture capture) => new()
    {
        Destinations = [DeliveryRig.Destination],
        CaptureId = capture.Id,
        SOPClassUID = FlowSteps.SOPClassUID,
        SOPInstanceUID = $"2.25.{capture.Id}",
        TransferSyntaxUID = FlowSteps.TransferSyntaxUID,
        Pieces = [new StoredPiece([8, 0, 5, 0], null, 0, 4)],
    };

    private static async Task<bool> TakeAsync(DeliveryRig rig, WorkSignal signal, int folders, int captures, CancellationToken cancellation)
    {
        for (int folder = 0; folder < folders; folder++)
        {
            await rig.Database.AddCapturesAsync(
                [.. Enumerable.Range(1, captures).Select(i => FlowSteps.Capture($"{folder}/IMG_{i:0000}.JPG"))], TimeSpan.FromHours(1), cancellation);
            signal.Raise(Stage.Cues);
        }

        await rig.Database.CloseSoonAsync("stick", null, cancellation);
        return true;
    }

    private sealed class StandIn(Stage stage, Func<IReadOnlyList<Work>, Task> run) : IStage
    {
        public Stage Stage => stage;

        public IReadOnlyList<string> Lanes { get; } = [""];

        public int Batch => 16;

        public int Workers => 2;

        public TimeSpan Lease { get; } = TimeSpan.FromMinutes(1);

        public Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation) => run(batch);
    }
}
