using CameraBridge.Commands;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>What becomes of a stick when its pictures are kept: design rule 3, a source is touched only after every archive of the route has confirmed.</summary>
public sealed class ReleasedTests : IDisposable
{
    private readonly TestSite site = new();

    public void Dispose() => site.Dispose();

    [Fact]
    public async Task What_is_kept_is_removed_from_the_stick_and_what_is_held_stays()
    {
        StickPlan plan = OutsidePeersTests.DrawStick(site);
        File.WriteAllText(Path.Combine(site.Stick, "notes of the ward.txt"), "not a picture");
        await using OrthancPeer orthanc = await StartAsync(plan, "remove");
        IReadOnlyDictionary<string, string> before = site.StickContents();

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors + run.Output);
        IReadOnlyDictionary<string, string> after = site.StickContents();
        int held = run.Report.Sittings.Where(sitting => sitting.IsHeld).Sum(sitting => sitting.Captures);
        Assert.Equal(before.Count - run.Report.Sittings.Where(sitting => !sitting.IsHeld).Sum(sitting => sitting.Captures), after.Count);
        Assert.Equal(held + 1, after.Count);
        Assert.All(after, file => Assert.Equal(before[file.Key], file.Value));
        Assert.False(Directory.Exists(Path.Combine(site.Stick, "0001")));
        Assert.True(File.Exists(Path.Combine(site.Stick, "notes of the ward.txt")));
        Run status = await TestSite.RunAsync(["status", "--config", site.ConfigurationFile]);
        Assert.Equal(ExitCodes.Held, status.ExitCode);
        Assert.Contains($"NOT YET: 0 of {held} kept, {held} held for a person (1 other files", status.Output, StringComparison.Ordinal);

        // What was removed is known all the same, should a copy of the stick come.
        Assert.Equal(0, (await site.OnceAsync()).Report.Taken);
    }

    [Fact]
    public async Task What_is_kept_is_listed_in_its_folder_for_people()
    {
        StickPlan plan = OutsidePeersTests.DrawStick(site);
        await using OrthancPeer orthanc = await StartAsync(plan, "mark");
        IReadOnlyDictionary<string, string> before = site.StickContents();

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors + run.Output);
        string list = File.ReadAllText(Path.Combine(site.Stick, "0001", "CAMERABRIDGE-KEPT.TXT"));
        Assert.All(before.Keys.Where(place => place.StartsWith("0001/", StringComparison.Ordinal)), place => Assert.Contains($"  {Path.GetFileName(place)}\r\n", list, StringComparison.Ordinal));
        Assert.DoesNotContain("HV26", list, StringComparison.Ordinal);
        Assert.False(File.Exists(Path.Combine(site.Stick, "0005", "CAMERABRIDGE-KEPT.TXT")));
        Assert.All(before, file => Assert.Equal(file.Value, site.StickContents()[file.Key]));
        Assert.Equal(0, (await site.OnceAsync()).Report.Taken);
    }

    private async Task<OrthancPeer> StartAsync(StickPlan plan, string release)
    {
        string items = Path.Combine(site.Folder, "items");
        await OutsideHospital.WriteItemsAsync(items, OutsidePeersTests.Orders(plan));
        OrthancPeer orthanc = await OrthancPeer.StartAsync(Path.Combine(site.Folder, "orthanc"), items);
        site.UseWorklist(orthanc.DicomPort, OrthancPeer.AETitle);
        site.AddDestination("archive", orthanc.DicomPort, OrthancPeer.AETitle, confirmBy: "query");
        site.SourceLines = $"    release: {release}\n    release_after: 0 s";
        site.WriteConfiguration();
        return orthanc;
    }
}
