using CameraBridge.Commands;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>Several archives at once, by DIMSE and by DICOMweb: Orthanc 1.10.1 with its plug-in dicom-web 1.7, dcmtk 3.6.7, and one that is not there.</summary>
public sealed class SeveralDestinationsTests : IDisposable
{
    private readonly TestSite site = new();

    public void Dispose() => site.Dispose();

    [Fact]
    public async Task The_demo_stick_goes_by_STOW_and_is_confirmed_by_QIDO_and_by_retrieval_while_a_dead_archive_holds_up_nobody()
    {
        StickPlan plan = OutsidePeersTests.DrawStick(site);
        string items = Path.Combine(site.Folder, "items");
        string password = Path.Combine(site.Folder, "password");
        await File.WriteAllTextAsync(password, "a secret of this test\n", TestContext.Current.CancellationToken);
        await OutsideHospital.WriteItemsAsync(items, OutsidePeersTests.Orders(plan));
        await using OrthancPeer first = await OrthancPeer.StartAsync(Path.Combine(site.Folder, "first"), items);
        await using OrthancPeer second = await OrthancPeer.StartAsync(Path.Combine(site.Folder, "second"), password: "a secret of this test");
        await using PeerProcess receiver = await PeerProcess.StartReceiverAsync(Directory.CreateDirectory(Path.Combine(site.Folder, "received")).FullName, "--fork");
        site.UseWorklist(first.DicomPort, OrthancPeer.AETitle);
        site.AddWebDestination("listed", first.DicomWebRoot, "    confirm_by: query\n");
        site.AddWebDestination("compared", second.DicomWebRoot, $"    confirm_by: retrieval\n    user: {OrthancPeer.User}\n    password_file: {password}\n    batch_objects: 4\n");
        site.AddDestination("receiver", receiver.Port, "PEERSTORE");
        site.AddDestination("dead", PeerProcess.FreePort(), "NOBODY", "    connect_limit: 1 s\n");
        site.WriteConfiguration();

        Run run = await site.OnceAsync(more: ["--patience", "5 s"]);

        Assert.True(run.ExitCode == ExitCodes.Undelivered, run.Errors + run.Output);
        ILookup<string, DeliveryReply> deliveries = run.Report.Sittings.SelectMany(sitting => sitting.Deliveries).ToLookup(delivery => delivery.Destination);
        int pictures = plan.Truth.Filed.Sum(filed => filed.Pictures);
        Assert.Equal((pictures, pictures, 0), Sums(deliveries["listed"]));
        Assert.Equal((pictures, pictures, 0), Sums(deliveries["compared"]));
        Assert.Equal((pictures, 0, 0), Sums(deliveries["receiver"]));
        Assert.Equal((0, 0, pictures), Sums(deliveries["dead"]));
        Assert.DoesNotContain("a secret", run.Errors + run.Output, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Each_object_goes_where_its_route_says_and_nowhere_else()
    {
        StickPlan plan = OutsidePeersTests.DrawStick(site);
        string[] folders = [Received("photographs"), Received("one-order"), Received("rest")];
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), OutsidePeersTests.Orders(plan));
        await using PeerProcess photographs = await PeerProcess.StartReceiverAsync(folders[0], "--fork");
        await using PeerProcess oneOrder = await PeerProcess.StartReceiverAsync(folders[1], "--fork");
        await using PeerProcess rest = await PeerProcess.StartReceiverAsync(folders[2], "--fork");
        site.UseWorklist(hospital.Worklist.Port, OutsideHospital.WorklistAETitle);
        site.AddDestination("photographs", photographs.Port, "PEERSTORE");
        site.AddDestination("one-order", oneOrder.Port, "PEERSTORE");
        site.AddDestination("rest", rest.Port, "PEERSTORE");
        site.SourceLines = "    optic: general";
        site.MoreLines = """
            routes:
              - order:
                  - { attribute: AccessionNumber, matches: '^HV260001$' }
                to: [one-order, rest]
              - sources: [stick]
                modalities: [XC]
                kind: still
                to: [photographs]
              - to: [rest]
            """;
        site.WriteConfiguration();

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors + run.Output);
        (string? AccessionNumber, string? Modality)[][] received = [.. folders.Select(folder => Directory.EnumerateFiles(folder)
            .Select(path => Part10File.Open(path).DataSet)
            .Select(dataSet => (dataSet.GetString(Tags.AccessionNumber), dataSet.GetString(Tags.Modality))).ToArray())];
        Assert.All(received[0], one => Assert.True(one.AccessionNumber != "HV260001" && one.Modality == "XC"));
        Assert.All(received[1], one => Assert.Equal("HV260001", one.AccessionNumber));
        Assert.All(received[2], one => Assert.True(one.AccessionNumber == "HV260001" || one.Modality != "XC"));
        Assert.Equal(4, received[1].Length);
        Assert.Equal(run.Report.Sittings.Sum(sitting => sitting.Pictures), received[0].Length + received[2].Length);
    }

    private string Received(string name) => Directory.CreateDirectory(Path.Combine(site.Folder, name)).FullName;

    private static (int Delivered, int Kept, int Undelivered) Sums(IEnumerable<DeliveryReply> deliveries) =>
        (deliveries.Sum(delivery => delivery.Delivered), deliveries.Sum(delivery => delivery.Kept), deliveries.Sum(delivery => delivery.Undelivered));
}
