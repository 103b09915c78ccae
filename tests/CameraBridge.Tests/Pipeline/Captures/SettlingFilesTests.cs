using CameraBridge.Pipeline.Captures;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Captures;

public sealed class SettlingFilesTests
{
    private readonly FakeTimeProvider _clock = new(new DateTimeOffset(2026, 3, 14, 9, 0, 0, TimeSpan.Zero));
    private readonly SettlingFiles _files = new(TimeSpan.FromSeconds(3), TimeSpan.FromMinutes(10));

    [Fact]
    public void A_file_is_due_when_it_has_rested()
    {
        See("a.jpg", size: 10);
        _clock.Advance(TimeSpan.FromSeconds(2.9));
        Assert.Empty(Due());

        _clock.Advance(TimeSpan.FromSeconds(0.1));
        Assert.Equal("a.jpg", Assert.Single(Due()).Place);
    }

    [Fact]
    public void A_file_that_grows_rests_anew()
    {
        See("a.jpg", size: 10);
        _clock.Advance(TimeSpan.FromSeconds(2));
        See("a.jpg", size: 20);
        _clock.Advance(TimeSpan.FromSeconds(2));
        Assert.Empty(Due());

        _clock.Advance(TimeSpan.FromSeconds(1));
        Assert.Single(Due());
    }

    [Fact]
    public void A_file_that_never_rests_is_due_after_the_longest_time()
    {
        for (int second = 0; second < 600; second++)
        {
            See("a.jpg", size: second);
            Assert.Empty(Due());
            _clock.Advance(TimeSpan.FromSeconds(1));
        }

        Assert.True(Assert.Single(Due()).Overdue);
    }

    [Fact]
    public void A_files_own_age_counts_only_where_it_may()
    {
        DateTimeOffset now = _clock.GetUtcNow();
        var old = new FileStat(FileKind.File, 10, now.AddMinutes(-1).ToUnixTimeMilliseconds(), default);
        var fromTheFuture = old with { ModifiedMs = now.AddYears(5).ToUnixTimeMilliseconds() };
        _files.Observe("old.jpg", old, now, 1, ageCounts: true);
        _files.Observe("watched.jpg", old, now, 1, ageCounts: false);
        _files.Observe("wrong-clock.jpg", fromTheFuture, now, 1, ageCounts: true);

        Assert.Equal("old.jpg", Assert.Single(Due()).Place);
    }

    [Fact]
    public void Due_files_come_in_the_order_of_their_places()
    {
        See("2/b.jpg", 1);
        See("1/c.jpg", 1);
        See("1/a.jpg", 1);
        _clock.Advance(TimeSpan.FromSeconds(3));

        Assert.Equal(["1/a.jpg", "1/c.jpg", "2/b.jpg"], Due().Select(file => file.Place));
    }

    [Fact]
    public void A_failure_is_tried_again_after_delays_that_double_up_to_a_limit()
    {
        See("a.jpg", 1);
        _clock.Advance(TimeSpan.FromSeconds(3));
        SettlingFile file = Assert.Single(Due());
        List<double> delays = [];
        for (int attempt = 0; attempt < 12; attempt++)
        {
            _files.Failed(file, _clock.GetUtcNow());
            delays.Add((file.DueAt - _clock.GetUtcNow()).TotalSeconds);
        }

        Assert.Equal([3, 6, 12, 24, 48, 96, 192, 384, 600, 600, 600, 600], delays);
    }

    [Fact]
    public void What_a_complete_scan_did_not_see_is_forgotten()
    {
        See("gone.jpg", 1, scan: 1);
        See("there.jpg", 1, scan: 2);
        _files.DropUnseen(2);
        _clock.Advance(TimeSpan.FromSeconds(3));

        Assert.Equal("there.jpg", Assert.Single(Due()).Place);
    }

    [Fact]
    public void No_more_are_held_than_there_is_room_for()
    {
        for (int index = 0; index < SettlingFiles.Most; index++)
        {
            Assert.True(See($"{index}.jpg", 1));
        }

        Assert.False(See("one too many.jpg", 1));
        Assert.True(See("0.jpg", 2));
    }

    private bool See(string place, long size, uint scan = 1) =>
        _files.Observe(place, new FileStat(FileKind.File, size, 1000, default), _clock.GetUtcNow(), scan, ageCounts: false);

    private IReadOnlyList<SettlingFile> Due() => _files.TakeDue(_clock.GetUtcNow());
}
