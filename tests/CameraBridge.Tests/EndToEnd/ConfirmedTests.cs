using System.Globalization;
using CameraBridge.Commands;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// The demo stick into archives that nobody here wrote, which then show that they keep it: Orthanc 1.10.1 (commitment in an association with role selection, C-FIND,
/// QIDO-RS) and npm's dcmjs-dimse 0.3.3 (commitment in an association without).
/// </summary>
public sealed class ConfirmedTests : IDisposable
{
    private readonly TestSite site = new();
    private int pictures;

    public void Dispose() => site.Dispose();

    [Theory]
    [InlineData("commitment")]
    [InlineData("query")]
    public async Task Orthanc_keeps_every_object_and_says_so(string confirmBy)
    {
        int reportPort = PeerProcess.FreePort();
        string items = await DrawAsync();
        await using OrthancPeer orthanc = await OrthancPeer.StartAsync(Path.Combine(site.Folder, "orthanc"), items, reportPort: reportPort);
        site.UseWorklist(orthanc.DicomPort, OrthancPeer.AETitle);
        site.AddDestination("archive", orthanc.DicomPort, OrthancPeer.AETitle, confirmBy: confirmBy);
        Listen(confirmBy == "query" ? null : reportPort);

        Run run = await site.OnceAsync();

        AssertKept(run);
    }

    [Fact]
    public async Task Npms_archive_keeps_every_object_and_says_so()
    {
        int reportPort = PeerProcess.FreePort();
        string items = await DrawAsync();
        await using OrthancPeer worklist = await OrthancPeer.StartAsync(Path.Combine(site.Folder, "orthanc"), items);
        await using PeerProcess archive = await NodePeer.StartAsync(reportPort);
        site.UseWorklist(worklist.DicomPort, OrthancPeer.AETitle);
        site.AddDestination("archive", archive.Port, NodePeer.AETitle, confirmBy: "commitment");
        Listen(reportPort);

        Run run = await site.OnceAsync();

        AssertKept(run);
    }

    [Fact]
    public async Task A_receiver_that_cannot_say_whether_it_keeps_objects_leaves_them_unconfirmed()
    {
        string items = await DrawAsync();
        await using OrthancPeer worklist = await OrthancPeer.StartAsync(Path.Combine(site.Folder, "orthanc"), items);
        await using PeerProcess receiver = await PeerProcess.StartReceiverAsync(null, "--fork");
        site.UseWorklist(worklist.DicomPort, OrthancPeer.AETitle);
        site.AddDestination("archive", receiver.Port, "PEERSTORE", confirmBy: "auto");
        Listen(null);

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Undelivered, run.Errors + run.Output);
        DeliveryReply[] deliveries = [.. run.Report.Sittings.SelectMany(sitting => sitting.Deliveries)];
        Assert.NotEmpty(deliveries);
        Assert.All(deliveries, delivery => Assert.Equal((0, 0, delivery.Delivered), (delivery.Kept, delivery.Undelivered, delivery.Unconfirmed)));
        Assert.All(deliveries, delivery => Assert.Contains("Do not wipe the source", delivery.ConfirmationOutcome, StringComparison.Ordinal));
    }

    private void AssertKept(Run run)
    {
        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors + run.Output);
        DeliveryReply[] deliveries = [.. run.Report.Sittings.SelectMany(sitting => sitting.Deliveries)];
        Assert.Equal(pictures, deliveries.Sum(delivery => delivery.Kept));
        Assert.All(deliveries, delivery => Assert.Equal((0, 0, delivery.Delivered), (delivery.Undelivered, delivery.Unconfirmed, delivery.Kept)));
    }

    private async Task<string> DrawAsync()
    {
        StickPlan plan = OutsidePeersTests.DrawStick(site);
        pictures = plan.Truth.Filed.Sum(filed => filed.Pictures);
        string items = Path.Combine(site.Folder, "items");
        await OutsideHospital.WriteItemsAsync(items, OutsidePeersTests.Orders(plan));
        return items;
    }

    /// <summary>Orthanc knows this gateway as CAMBRIDGE at the port.</summary>
    private void Listen(int? port)
    {
        site.MoreLines = "calling_ae_title: CAMBRIDGE\n" + (port is { } number
            ? string.Create(CultureInfo.InvariantCulture, $"listen: {{ port: {number}, address: 127.0.0.1 }}")
            : "");
        site.WriteConfiguration();
    }
}
