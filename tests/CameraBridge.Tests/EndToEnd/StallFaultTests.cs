using CameraBridge.Dicom.Dimse;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>Lines and archives that go silent, against the program as it is run. These tests wait for limits, which in a configuration are a second at least.</summary>
public sealed class StallFaultTests
{
    [Fact]
    public async Task A_line_that_stalls_at_any_byte_is_left_at_its_limit_and_all_arrives_over_the_next()
    {
        // Before the association request, in its head and its items, in the command, in the data set; an object is about 6 KB.
        long[] stalls = [0, 3, 74, 230, 420, 600, 1_500, 5_000];
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        await using CuttingRelay relay = new(archive.Port, connection => connection < stalls.Length ? stalls[connection] : long.MaxValue, silent: true);
        using FaultSite site = new FaultSite().Use(worklist.Port, relay.Port);

        FaultSite.AssertDelivered(await site.OnceAsync("20 s"));

        site.AssertKeptOnce(archive);
        Assert.InRange(relay.Connections, stalls.Length + 1, int.MaxValue);
    }

    [Theory]
    [InlineData(30, "did not answer the association request", "limit Associate, 1 s")]
    [InlineData(3_000, "did not answer a request", "limit Response, 1 s", "under the same UID")]
    public async Task A_line_that_always_stalls_is_told_with_the_limit_that_ran_out(int bytes, params string[] words)
    {
        bool mended = false;
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        await using CuttingRelay relay = new(archive.Port, _ => mended ? long.MaxValue : bytes, silent: true);
        using FaultSite site = new FaultSite().Use(worklist.Port, relay.Port);

        FaultSite.AssertUndelivered(await site.OnceAsync(), FaultSite.Pictures, ["archive FAULTARCHIVE", .. words]);

        mended = true;
        await site.AssertMendedAsync(archive);
    }

    [Fact]
    public async Task An_archive_that_never_answers_is_left_at_its_limit()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port);
        archive.Answer = async (_, cancellation) =>
        {
            await Task.Delay(Timeout.InfiniteTimeSpan, TimeProvider.System, cancellation);
            return HandlerAnswer.Success;
        };

        FaultSite.AssertUndelivered(await site.OnceAsync(), FaultSite.Pictures, "archive FAULTARCHIVE", "did not answer a request", "limit Response, 1 s");

        archive.AnswerAlways(Statuses.Success);
        await site.AssertMendedAsync(archive);
    }
}
