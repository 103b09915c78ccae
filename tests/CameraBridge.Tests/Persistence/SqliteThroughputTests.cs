using System.Globalization;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>What the state costs for a stick of 5,000 pictures in 100 folders: every call of the flow, nothing else.</summary>
public sealed class SqliteThroughputTests
{
    private static readonly TimeSpan Lease = TimeSpan.FromMinutes(5);

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task The_state_of_five_thousand_pictures_costs_a_small_part_of_their_sending()
    {
        DirectoryInfo folder = Directory.CreateTempSubdirectory("throughput-");
        SqlitePipelineDatabase database = await SqlitePipelineDatabase.OpenAsync(Path.Combine(folder.FullName, "state.db"), TimeProvider.System, Cancellation);
        try
        {
            long start = TimeProvider.System.GetTimestamp();
            TimeSpan cpu = Environment.CpuUsage.TotalTime;
            var laps = new List<string>();
            void Lap(string name) => laps.Add(string.Create(
                CultureInfo.InvariantCulture,
                $"{name} {TimeProvider.System.GetElapsedTime(start).TotalMilliseconds:0} ({(Environment.CpuUsage.TotalTime - cpu).TotalMilliseconds:0})"));

            Capture[] captures = [.. Enumerable.Range(0, 5000).Select(i => FlowSteps.Capture($"{i / 50}/IMG_{i % 50:0000}.JPG"))];
            foreach (Capture[] some in captures.Chunk(32))
            {
                await database.AddCapturesAsync(some, Lease, Cancellation);
            }

            Lap("added");
            while (await database.LeaseAsync(Stage.Cues, "", 128, Lease, Cancellation) is { Count: > 0 } cues)
            {
                await database.GetCapturesAsync([.. cues.Select(work => work.SubjectId)], Cancellation);
                await database.CompleteCuesAsync([.. cues.Select(work => new CaptureReading(work, DateTimeOffset.UnixEpoch, "file", []))], Cancellation);
            }

            Lap("read");
            await database.CloseSoonAsync("stick", null, Cancellation);
            while (await database.LeaseAsync(Stage.Sittings, "", 16, Lease, Cancellation) is { Count: > 0 } closing)
            {
                foreach (Work work in closing)
                {
                    IReadOnlyList<Capture> its = await database.GetCapturesOfSittingAsync(work.SubjectId, Cancellation);
                    await database.GetCuesOfSittingAsync(work.SubjectId, Cancellation);
                    Assert.True(await database.CompleteSittingAsync(work, [new SittingPart([.. its.Select(one => one.Id)], "folder", Empty: false)], Cancellation));
                }
            }

            Lap("closed");
            while (await database.LeaseAsync(Stage.Matches, "", 64, Lease, Cancellation) is { Count: > 0 } matching)
            {
                foreach (Work work in matching)
                {
                    await database.CompleteMatchAsync(work, new Match { SittingId = work.SubjectId, StepJson = "{}" }, Cancellation);
                }
            }

            Lap("matched");
            byte[] header = new byte[3000];
            while (await database.LeaseAsync(Stage.Objects, "", 2, Lease, Cancellation) is { Count: > 0 } making)
            {
                foreach (Work work in making)
                {
                    IReadOnlyList<Capture> its = await database.GetCapturesOfSittingAsync(work.SubjectId, Cancellation);
                    await database.CompleteObjectsAsync(
                        work,
                        [.. its.Select(one => new ImagingObject
                        {
                            CaptureId = one.Id,
                            Destinations = ["archive"],
                            SOPClassUID = FlowSteps.SOPClassUID,
                            SOPInstanceUID = $"2.25.{one.Id}",
                            TransferSyntaxUID = FlowSteps.TransferSyntaxUID,
                            Pieces = [new StoredPiece(header, null, 0, header.Length), new StoredPiece(null, one.SpoolName, 0, 1000)],
                        })],
                        [],
                        [], Cancellation);
                }
            }

            Lap("made");
            int delivered = 0;
            while (await database.LeaseAsync(Stage.Deliveries, "archive", 64, Lease, Cancellation) is { Count: > 0 } sending)
            {
                await database.GetDeliveriesAsync(sending, Cancellation);
                await database.CompleteDeliveriesAsync([.. sending.Select(work => new DeliveryResult(work, DeliveryState.Stored, 0, "stored", null))], Cancellation);
                delivered += sending.Count;
            }

            Lap("delivered");
            TestContext.Current.TestOutputHelper?.WriteLine("ms from the start, in brackets of the processor: " + string.Join(", ", laps));
            Assert.Equal(5000, delivered);

            // Sending 5,000 pictures takes some seconds; a limit that a busy machine keeps too, for a slip of ten times, not for one of two.
            Assert.True(TimeProvider.System.GetElapsedTime(start) < TimeSpan.FromSeconds(15), string.Join(", ", laps));
        }
        finally
        {
            await database.DisposeAsync();
            folder.Delete(recursive: true);
        }
    }
}
