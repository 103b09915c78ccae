using CameraBridge.Persistence;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>Who scans which source.</summary>
public abstract partial class DatabaseContract
{
    [Fact]
    public async Task A_source_is_held_by_one_worker_until_it_lapses_or_is_given_back()
    {
        IPipelineDatabase first = await OpenedAsync("room-1/b/n:1:1");
        IPipelineDatabase second = await OpenedAsync("room-2/b/n:1:1");

        Assert.Null(await first.HoldSourceAsync("ear", Lease, Cancellation));
        Assert.Equal("room-1", await second.HoldSourceAsync("ear", Lease, Cancellation));
        Assert.Null(await second.HoldSourceAsync("nose", Lease, Cancellation));
        Clock.Advance(Lease / 2);
        Assert.Null(await first.HoldSourceAsync("ear", Lease, Cancellation));
        Clock.Advance(Lease * 0.75);
        Assert.Equal("room-1", await second.HoldSourceAsync("ear", Lease, Cancellation));

        await first.LeaveSourceAsync("ear", Cancellation);
        Assert.Null(await second.HoldSourceAsync("ear", Lease, Cancellation));
        Assert.Equal("room-2", await first.HoldSourceAsync("ear", Lease, Cancellation));
        Clock.Advance(Lease);
        Assert.Null(await first.HoldSourceAsync("ear", Lease, Cancellation));
    }

    [Fact]
    public async Task A_worker_that_was_overtaken_writes_nothing_of_the_source()
    {
        IPipelineDatabase frozen = await OpenedAsync("room-1/b/n:1:1");
        IPipelineDatabase other = await OpenedAsync("room-2/b/n:1:1");
        Assert.Null(await frozen.HoldSourceAsync("stick", Lease, Cancellation));
        await AddAsync(frozen, "1/a.jpg");
        Clock.Advance(Lease);
        Assert.Null(await other.HoldSourceAsync("stick", Lease, Cancellation));

        await Assert.ThrowsAsync<SourceLostException>(() => AddAsync(frozen, "1/b.jpg"));
        await Assert.ThrowsAsync<SourceLostException>(() => frozen.NoteSeenAsync("stick", [new KnownFile("1/c.jpg", 1, Clock.GetUtcNow())], Cancellation));
        await Assert.ThrowsAsync<SourceLostException>(() => frozen.CloseSoonAsync("stick", null, Cancellation));
        await frozen.LeaveSourceAsync("stick", Cancellation);

        Assert.Equal(1, (await other.CountWorkAsync(Cancellation))[Stage.Cues]);
        Assert.NotEqual(0, Assert.Single(await AddAsync(other, "1/b.jpg")));
        Assert.Equal("room-2", await frozen.HoldSourceAsync("stick", Lease, Cancellation));
        Assert.Single(await other.GetReportAsync(null, Cancellation));
    }

    [Fact]
    public async Task The_hold_of_a_process_of_this_host_that_is_dead_is_taken_over_at_once()
    {
        string[] me = LeaseOwner.Current.Split(':');
        IPipelineDatabase dead = await OpenedAsync($"{me[0]}:4194305:1"); // beyond Linux's highest process id (proc(5), pid_max)
        IPipelineDatabase alive = await OpenedAsync();
        Assert.Null(await dead.HoldSourceAsync("ear", Lease, Cancellation));

        Assert.Null(await alive.HoldSourceAsync("ear", Lease, Cancellation));
    }

    [Fact]
    public async Task Workers_who_want_a_source_at_once_are_told_apart()
    {
        IPipelineDatabase[] workers = await Task.WhenAll(Enumerable.Range(0, 4).Select(worker => OpenAsync($"room-{worker}/b/n:1:1")));
        string?[] holders = await Task.WhenAll(workers.Select(worker => Task.Run(() => worker.HoldSourceAsync("ear", Lease, Cancellation), Cancellation)));

        Assert.Single(holders, holder => holder is null);
        Assert.Single(holders.Where(holder => holder is not null).Distinct());
        foreach (IPipelineDatabase worker in workers)
        {
            await worker.DisposeAsync();
        }
    }
}
