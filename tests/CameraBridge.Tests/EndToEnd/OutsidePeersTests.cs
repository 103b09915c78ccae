using System.Globalization;
using CameraBridge.Commands;
using CameraBridge.Pipeline;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// The whole flow of the demo stick, from folder to archive, against servers that nobody here wrote (dcmtk 3.6.7, Orthanc 1.10.1), judged by programs that nobody
/// here wrote: dciodvfy of dicom3tools, pydicom, GDCM.
/// </summary>
public sealed class OutsidePeersTests : IDisposable
{
    private static readonly DateOnly Day = new(2026, 11, 2);
    private readonly TestSite site = new();

    public void Dispose() => site.Dispose();

    [Fact]
    public async Task The_demo_stick_goes_through_dcmtk_worklist_into_dcmtk_archive_as_drawn()
    {
        StickPlan plan = DrawStick();
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), Orders(plan));
        site.UseWorklist(hospital.Worklist.Port, OutsideHospital.WorklistAETitle);
        site.AddDestination("archive", hospital.Archive.Port, OutsideHospital.ArchiveAETitle);
        site.WriteConfiguration();
        IReadOnlyDictionary<string, string> before = site.StickContents();

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors + run.Output);
        AssertFiledAsDrawn(plan, run.Report);
        IReadOnlyList<Judged> objects = await Judged.ObjectsAsync(Directory.EnumerateFiles(hospital.ArchiveFolder));
        await AssertJudgesAgreeAsync(plan, objects);
        Assert.Equal(before, site.StickContents());
    }

    [Fact]
    public async Task The_demo_stick_goes_through_Orthanc_worklist_into_Orthanc_archive_as_drawn()
    {
        StickPlan plan = DrawStick();
        string items = Path.Combine(site.Folder, "items");
        await OutsideHospital.WriteItemsAsync(items, Orders(plan));
        await using OrthancPeer orthanc = await OrthancPeer.StartAsync(Path.Combine(site.Folder, "orthanc"), items);
        site.UseWorklist(orthanc.DicomPort, OrthancPeer.AETitle);
        site.AddDestination("archive", orthanc.DicomPort, OrthancPeer.AETitle);
        site.WriteConfiguration();

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors + run.Output);
        AssertFiledAsDrawn(plan, run.Report);
        string received = Path.Combine(site.Folder, "received");
        await orthanc.DownloadAllAsync(received);
        await AssertJudgesAgreeAsync(plan, await Judged.ObjectsAsync(Directory.EnumerateFiles(received)));
    }

    [Fact]
    public async Task The_same_stick_put_in_again_is_known_and_nothing_is_sent_twice()
    {
        StickPlan plan = DrawStick();
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), Orders(plan));
        site.UseWorklist(hospital.Worklist.Port, OutsideHospital.WorklistAETitle);
        site.AddDestination("archive", hospital.Archive.Port, OutsideHospital.ArchiveAETitle);
        site.WriteConfiguration();
        Run first = await site.OnceAsync();
        string[] received = [.. Directory.EnumerateFiles(hospital.ArchiveFolder).Order(StringComparer.Ordinal)];

        Run second = await site.OnceAsync();

        Assert.Equal(first.Report.Taken, second.Report.Known);
        Assert.Equal(0, second.Report.Taken);
        Assert.Equal(received, Directory.EnumerateFiles(hospital.ArchiveFolder).Order(StringComparer.Ordinal));
    }

    [Fact]
    public async Task The_worklist_is_asked_for_every_key_that_the_objects_need()
    {
        StickPlan plan = DrawStick();
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), Orders(plan));
        site.UseWorklist(hospital.Worklist.Port, OutsideHospital.WorklistAETitle);
        site.AddDestination("archive", hospital.Archive.Port, OutsideHospital.ArchiveAETitle);
        site.WriteConfiguration();

        await site.OnceAsync();

        // PS3.4 Table K.6-1: return keys of type 1, 1C and 2, as dcmtk's worklist server wrote down what it was asked.
        string[] queries = [.. Directory.EnumerateFiles(hospital.QueryFolder).Select(File.ReadAllText)];
        Assert.NotEmpty(queries);
        Assert.All(queries, query =>
        {
            foreach (string tag in (string[])
                ["(0008,0005)", "(0008,0050)", "(0008,0090)", "(0010,0010)", "(0010,0020)", "(0010,0030)", "(0010,0040)", "(0020,000d)", "(0032,1060)", "(0040,0100)",
                "(0008,0060)", "(0040,0001)", "(0040,0002)", "(0040,0003)", "(0040,0009)", "(0040,1001)"])
            {
                Assert.Contains(tag, query, StringComparison.Ordinal);
            }
        });
    }

    internal static IReadOnlyList<Order> Orders(StickPlan plan) => [.. plan.Orders.Select((order, index) => new Order(
        order.PatientName, order.PatientID, order.AccessionNumber, string.Create(CultureInfo.InvariantCulture, $"2.25.4711000{index}"), TestSite.Station, order.Modality,
        DateOnly.FromDateTime(order.ScheduledAt), string.Create(CultureInfo.InvariantCulture, $"SPS{index}")) { Side = order.Side })];

    private static void AssertFiledAsDrawn(StickPlan plan, OnceReply report)
    {
        Assert.Equal(
            plan.Truth.Filed.Select(filed => (filed.Folder, filed.AccessionNumber, filed.Pictures)).Order(),
            report.Sittings.Where(sitting => sitting.Step is not null).Select(sitting => (sitting.Folder, sitting.Step!.AccessionNumber!, sitting.Pictures)).Order());
        Assert.All(report.Sittings.Where(sitting => sitting.Step is not null), sitting => Assert.Equal(SittingState.Matched, sitting.State));
        Assert.All(plan.Truth.Held, held => Assert.Contains(report.Sittings, sitting => sitting.Folder == held.Folder && sitting.IsHeld));
    }

    private async Task AssertJudgesAgreeAsync(StickPlan plan, IReadOnlyList<Judged> objects)
    {
        Assert.Equal(plan.Truth.Filed.Sum(filed => filed.Pictures), objects.Count);
        Assert.All(objects, judged =>
        {
            Assert.Equal("ok", judged.Text("pydicom"));
            Assert.Equal("ok", judged.Text("gdcm"));
            Assert.Empty(judged.Lines("dciodvfy_errors"));
            Assert.Equal("1.2.840.10008.1.2.4.50", judged.Text("TransferSyntaxUID"));
        });

        // The scan in what the archive received is the camera's, byte for byte, and stands under the order that was drawn.
        Dictionary<string, Judged> camera = (await Judged.PicturesAsync(Directory.EnumerateFiles(site.Stick, "*.JPG", SearchOption.AllDirectories)))
            .Where(picture => picture.ScanSha256.Length > 0)
            .ToDictionary(picture => Path.GetRelativePath(site.Stick, picture.Path), picture => picture);
        foreach (Judged judged in objects)
        {
            StickOrder order = plan.Orders.Single(order => order.AccessionNumber == judged.Text("AccessionNumber"));
            Assert.Equal(order.PatientID, judged.Text("PatientID"));
            string[] folders = [.. plan.Truth.Filed.Where(filed => filed.AccessionNumber == order.AccessionNumber).Select(filed => filed.Folder)];
            Assert.Contains(camera, picture => picture.Value.ScanSha256 == judged.ScanSha256 && folders.Contains(Path.GetDirectoryName(picture.Key)));
        }

        Assert.Equal(objects.Count, objects.Select(judged => judged.Text("SOPInstanceUID")).Distinct().Count());
    }

    private StickPlan DrawStick() => DrawStick(site);

    internal static StickPlan DrawStick(TestSite site)
    {
        StickPlan plan = StickPlan.Clinic(Day);
        StickDrawer.Draw(plan, site.Stick, seed: 7, Day, TimeZoneInfo.FindSystemTimeZoneById("Europe/London"));
        return plan;
    }
}
