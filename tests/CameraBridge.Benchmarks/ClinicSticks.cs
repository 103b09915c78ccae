using System.Globalization;
using System.Text.Json;
using CameraBridge.Commands;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Practice;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Pipeline.Matches.Joint.Clinic;
using ZXing;

namespace CameraBridge.Benchmarks;

/// <summary>
/// Writes a simulated day so that the program can be tried on it: for each room DIR/roomN/stick with its truth.json, which <c>practice compare</c> reads, and
/// DIR/orders.yaml for the practice hospital; the same orders as DIR/worklist/PRACTICE/*.wl for dcmtk's wlmscpfs. DIR/roomN/pairs.json tells whose the folders without a label are.
/// </summary>
internal static class ClinicSticks
{
    public static void Write(ClinicDay day, string root, int seed)
    {
        StickOrder[] orders = [.. day.Steps.Select(Order)];
        Directory.CreateDirectory(root);
        string yaml = StickOrders.Write(orders);
        File.WriteAllText(Path.Combine(root, "orders.yaml"), yaml);
        WriteWorklist(PracticeOrders.Parse(yaml, "orders.yaml"), day.Date, Path.Combine(root, "worklist", "PRACTICE"));
        for (int room = 0; room < day.ClockOffsets.Count; room++)
        {
            string own = Path.Combine(root, string.Create(CultureInfo.InvariantCulture, $"room{room + 1}"));
            (string Folder, ClinicSitting Sitting)[] folders =
                [.. day.SittingsOf(room).Select((sitting, index) => (string.Create(CultureInfo.InvariantCulture, $"{index + 1:0000}"), sitting))];
            bool IsFiled(ClinicSitting sitting) => sitting is { IsLabelled: true, Step: >= 0 };
            StickPlan plan = new(
                [.. folders.Select(folder => new StickFolder(folder.Folder, [.. Shots(folder.Sitting, orders)]) { Begins = day.Shown(room, folder.Sitting.At) })],
                orders,
                new StickTruth(
                    [.. folders.Where(folder => IsFiled(folder.Sitting)).Select(folder => new ExpectedFiled(folder.Folder, orders[folder.Sitting.Step].AccessionNumber, folder.Sitting.Pictures))],
                    [.. folders.Where(folder => !IsFiled(folder.Sitting)).Select(folder => new ExpectedHeld(folder.Folder, Shots(folder.Sitting, orders).Count(), "nothing tells its order"))]));
            StickDrawer.Draw(plan, Path.Combine(own, "stick"), seed + room, day.Date, TimeZoneInfo.Utc);
            File.WriteAllText(Path.Combine(own, "truth.json"), JsonSerializer.Serialize(plan.Truth, JsonReply.Format));
            File.WriteAllText(
                Path.Combine(own, "pairs.json"),
                JsonSerializer.Serialize(
                    folders.Select(folder => new { folder.Folder, Order = folder.Sitting.Step < 0 ? null : orders[folder.Sitting.Step].AccessionNumber, folder.Sitting.IsLabelled }),
                    JsonReply.Format));
            Console.WriteLine(FormattableString.Invariant(
                $"{own}: station {Station(room)}, {folders.Length} folders, clock {day.ClockOffsets[room]:+0.0;-0.0} min, zone UTC"));
        }
    }

    /// <summary>A file an order, as servers that serve a folder read them; wlmscpfs wants a file named "lockfile" beside them.</summary>
    private static void WriteWorklist(IReadOnlyList<PracticeOrder> orders, DateOnly day, string folder)
    {
        Directory.CreateDirectory(folder);
        File.WriteAllText(Path.Combine(folder, "lockfile"), "");
        foreach (PracticeOrder order in orders)
        {
            FileMeta meta = new(SopClasses.ModalityWorklistInformationModelFind, Uids.NewFromUuid(), TransferSyntaxes.ExplicitVRLittleEndian);
            using FileStream file = File.Create(Path.Combine(folder, $"{order.AccessionNumber}.wl"));
            using Stream bytes = Part10File.Encode(meta, ElementWriter.Encode(order.ToWorklistItem(day), TransferSyntax.ExplicitLittleEndian)).OpenRead();
            bytes.CopyTo(file);
        }
    }

    private static StickOrder Order(ClinicStep step, int index) => new(
        string.Create(CultureInfo.InvariantCulture, $"Practice^Person {index + 1}"),
        string.Create(CultureInfo.InvariantCulture, $"{5200010 + (index * 7)}"),
        new DateOnly(1931 + (index * 9 % 80), 1 + (index % 12), 1 + (index * 5 % 28)),
        index % 2 == 0 ? "F" : "M",
        string.Create(CultureInfo.InvariantCulture, $"HV{270001 + index}"),
        step.Optic == "ear" ? "ES" : step.Optic == "skin" ? "DMS" : "XC",
        step.Optic + (step.Side is null ? "" : $", {step.Side}"),
        step.ScheduledAt)
    {
        StationAETitle = Station(step.Room),
    };

    private static string Station(int room) => string.Create(CultureInfo.InvariantCulture, $"HOLLINCAM{room + 1}");

    /// <summary>Who was not planned has a wristband all the same, which no worklist knows.</summary>
    private static IEnumerable<Shot> Shots(ClinicSitting sitting, StickOrder[] orders) =>
    [
        .. sitting.IsLabelled ? [new LabelShot(new LabelCode(BarcodeFormat.QR_CODE, $"PID:{(sitting.Step < 0 ? "9999991" : orders[sitting.Step].PatientID)}"))] : Array.Empty<Shot>(),
        .. Enumerable.Repeat(new PictureShot(sitting.Optic == "ear" ? Motif.Eardrum : sitting.Optic == "skin" ? Motif.Skin : Motif.Wound), sitting.Pictures),
    ];
}
