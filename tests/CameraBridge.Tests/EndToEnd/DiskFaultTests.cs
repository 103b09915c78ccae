using System.Globalization;
using System.Text.Json;
using CameraBridge.Commands;
using CameraBridge.Tests.Persistence;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>Disks that are full, in the spool and in the state, against the program as it is run. Each is a small tmpfs, which only root may mount.</summary>
public sealed class DiskFaultTests
{
    private const string NeedsRoot = "mounting a tmpfs needs the rights of root";

    [Fact]
    public async Task A_spool_that_fills_up_in_the_middle_of_a_folder_takes_the_rest_when_there_is_room()
    {
        const int Pictures = 12;
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite(spool: "disk/spool", pictures: Pictures).Use(worklist.Port, archive.Port);
        using SmallDisk? disk = SmallDisk.TryMount(Path.Combine(site.Folder, "disk"), "64k");
        Assert.SkipWhen(disk is null, NeedsRoot);

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Undelivered, run.Output + run.Errors);
        Assert.InRange(run.Report.Taken, 0, Pictures);
        FaultSite.AssertSentence(
            run.Report.Trouble, $"spool folder {site.Folder}/disk/spool", "takes no more pictures", "bytes are free", "Free or repair that disk", "sources stay untouched");
        Assert.Empty(archive.Kept);

        Assert.True(disk.TryResize("4m"));
        await site.AssertMendedAsync(archive, Pictures);
    }

    [Fact]
    public async Task Intake_stops_loudly_at_the_floor_of_free_space_before_the_disk_is_full_and_goes_on_when_there_is_room()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new(spool: "disk/spool");
        using SmallDisk? disk = SmallDisk.TryMount(Path.Combine(site.Folder, "disk"), "4m");
        Assert.SkipWhen(disk is null, NeedsRoot);
        site.Site.MoreLines = "retention: { spool_floor: 2 MB }";
        site.Use(worklist.Port, archive.Port);
        string others = Path.Combine(site.Folder, "disk", "others");
        File.WriteAllBytes(others, new byte[3_000_000]);

        Run run = await site.OnceAsync();

        Assert.Equal((ExitCodes.Undelivered, 0), (run.ExitCode, run.Report.Taken));
        FaultSite.AssertSentence(run.Report.Trouble, "takes no more pictures", "beside the 2000000 that stay free", "Free or repair that disk");
        File.Delete(others);
        await site.AssertMendedAsync(archive);
    }

    /// <summary>
    /// With these sizes the state was full, by the log, at opening (4, 128), when captures were written down (192), in Cues (256), Matches (320), Objects (384),
    /// and in Deliveries (448), after the archive had answered.
    /// </summary>
    [Theory]
    [InlineData(4)]
    [InlineData(128)]
    [InlineData(192)]
    [InlineData(256)]
    [InlineData(320)]
    [InlineData(384)]
    [InlineData(448)]
    public async Task A_state_that_fills_up_ends_the_run_with_the_sentence_and_goes_on_when_there_is_room(int kibibytes)
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite(state: "disk/state.db").Use(worklist.Port, archive.Port);
        using SmallDisk? disk = SmallDisk.TryMount(Path.Combine(site.Folder, "disk"), string.Create(CultureInfo.InvariantCulture, $"{kibibytes}k"));
        Assert.SkipWhen(disk is null, NeedsRoot);

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Undelivered, run.Output + run.Errors);
        using (JsonDocument said = JsonDocument.Parse(run.Output))
        {
            FaultSite.AssertSentence(
                said.RootElement.GetProperty("error").GetProperty("message").GetString(), $"state {site.Folder}/disk/state.db", "is on a disk that is full", "free space there");
        }

        Assert.True(disk.TryResize("8m"));
        FaultSite.AssertDelivered(await site.OnceAsync("1 min"));

        // What was sent and could not be written down goes again: the same bytes under the same UID, which the archive knows for one object.
        byte[][] objects = [.. archive.Kept.GroupBy(kept => kept.SOPInstanceUID).Select(same =>
        {
            Assert.All(same, kept => Assert.Equal(same.First().DataSet, kept.DataSet));
            return same.First().DataSet;
        })];
        site.AssertEachOnce(objects);
    }
}
