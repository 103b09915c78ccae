using System.Globalization;
using CameraBridge.Commands;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// A stick with one patient's folder (a label shot and some pictures), a site around it with short limits, and what must hold in every fault: no patient in
/// the log, the source as it was, and each picture in the archive exactly once when the fault is mended.
/// </summary>
internal sealed class FaultSite : IDisposable
{
    public const int Pictures = 3;
    public const string PatientName = "Faultner^Ida";
    public const string PatientID = "FLT4711";
    public const string AccessionNumber = "ACCFLT1";

    /// <summary>Of a destination: limits that a test can wait for.</summary>
    public const string ShortLimits = "    response_limit: 1 s\n    first_retry_delay: 100 ms\n    longest_retry_delay: 1 s\n    associations: 1\n";

    private static readonly DateTime Taken = new(2026, 11, 2, 9, 30, 0, DateTimeKind.Utc);
    private static readonly string[] PatientData = ["Faultner", PatientID, "19610203", AccessionNumber];

    private readonly IReadOnlyDictionary<string, string> before;

    public FaultSite(string? spool = null, string? state = null, int pictures = Pictures)
    {
        string folder = Directory.CreateTempSubdirectory("camerabridge-faults-").FullName;
        Site = new TestSite(folder)
        {
            Spool = spool is null ? "" : Path.Combine(folder, spool),
            StateFile = state is null ? "" : Path.Combine(folder, state),
        };
        Site.WriteFolder("0001", [TestPictures.Label($"PID:{PatientID}", 1), .. Enumerable.Range(0, pictures).Select(picture => TestPictures.Still(picture, 128, 96))]);
        foreach (string path in Directory.EnumerateFiles(Site.Stick, "*", SearchOption.AllDirectories))
        {
            File.SetLastWriteTimeUtc(path, Taken);
        }

        before = Site.StickContents();
    }

    public TestSite Site { get; }

    public string Folder => Site.Folder;

    /// <summary>A worklist item for the patient of the stick, or for another.</summary>
    public static DataSet Item(string patientID = PatientID, int number = 0)
    {
        DataSet step = new();
        step.Set(Tags.Modality, "XC");
        step.Set(Tags.ScheduledStationAETitle, TestSite.Station);
        step.Set(Tags.ScheduledProcedureStepStartDate, "20261102");
        step.Set(Tags.ScheduledProcedureStepStartTime, "0930");
        step.Set(Tags.ScheduledProcedureStepID, string.Create(CultureInfo.InvariantCulture, $"SPS{number}"));
        DataSet item = new();
        item.Set(Tags.AccessionNumber, number == 0 ? AccessionNumber : string.Create(CultureInfo.InvariantCulture, $"ACCO{number}"));
        item.Set(Tags.ReferringPhysicianName, "Referrer^Rosa");
        item.Set(Tags.PatientName, PatientName);
        item.Set(Tags.PatientID, patientID);
        item.Set(Tags.PatientBirthDate, "19610203");
        item.Set(Tags.PatientSex, "F");
        item.Set(Tags.StudyInstanceUID, string.Create(CultureInfo.InvariantCulture, $"2.25.99200{number}"));
        item.Set(Tags.RequestedProcedureID, "RP1");
        item.SetItems(Tags.ScheduledProcedureStepSequence, step);
        return item;
    }

    /// <summary>Writes the configuration: this worklist, this archive.</summary>
    public FaultSite Use(int worklist, int archive, string archiveAETitle = FaultyArchive.AETitle, string worklistAETitle = FaultyWorklist.AETitle, string worklistLines = "")
    {
        Site.UseWorklist(worklist, worklistAETitle, $"  response_limit: 1 s\n  retry_after: 1 s\n{worklistLines}");
        Site.ClearDestinations();
        Site.AddDestination("archive", archive, archiveAETitle, ShortLimits);
        Site.WriteConfiguration();
        return this;
    }

    /// <summary>Writes the configuration: this worklist, this archive by DICOMweb, an object in each request so that there are several.</summary>
    /// <param name="worklist">Port.</param>
    /// <param name="url">Where its services begin.</param>
    /// <param name="lines">Further settings of the archive, each on a line of its own.</param>
    public FaultSite UseWeb(int worklist, Uri url, params IEnumerable<string> lines)
    {
        Site.UseWorklist(worklist, FaultyWorklist.AETitle);
        Site.ClearDestinations();
        string[] all = ["confirm_by: query", "batch_objects: 1", "associations: 1", "first_retry_delay: 100 ms", "longest_retry_delay: 1 s", .. lines];
        Site.AddWebDestination("archive", url, string.Concat(all.Select(line => $"    {line}\n")));
        Site.WriteConfiguration();
        return this;
    }

    /// <summary>Takes the stick, and checks what must hold whatever happens.</summary>
    /// <param name="patience">How long to go on trying a peer that is out.</param>
    public async Task<Run> OnceAsync(string patience = "500 ms")
    {
        Run run = await Site.OnceAsync(null, "--patience", patience, "--log-level", "debug");
        Assert.True(run.ExitCode != ExitCodes.Bug, run.Output + run.Errors);
        Assert.All(PatientData, word => Assert.DoesNotContain(word, run.Errors, StringComparison.OrdinalIgnoreCase));
        Assert.Equal(before, Site.StickContents());
        return run;
    }

    /// <summary>Runs <c>deliveries</c> as an operator would.</summary>
    public async Task<Run> DeliveriesAsync(params IEnumerable<string> arguments)
    {
        Run run = await TestSite.RunAsync(["deliveries", .. arguments, "--config", Site.ConfigurationFile]);
        Assert.Equal("", run.Errors);
        return run;
    }

    /// <summary>The one sitting of a run that took the stick.</summary>
    public static SittingReply Sitting(Run run) => Assert.Single(run.Report.Sittings);

    /// <summary>Nothing of it arrived, and this is why.</summary>
    public static void AssertUndelivered(Run run, int undelivered, params IReadOnlyList<string> words)
    {
        Assert.True(run.ExitCode == ExitCodes.Undelivered, $"exit code {run.ExitCode}: {run.Output} {run.Errors}");
        DeliveryReply delivery = Assert.Single(Sitting(run).Deliveries);
        Assert.Equal(("archive", undelivered), (delivery.Destination, delivery.Undelivered));
        AssertSentence(delivery.Outcome, words);
    }

    /// <summary>A sentence with all of these words, and with no patient in it.</summary>
    public static void AssertSentence(string? sentence, params IReadOnlyList<string> words)
    {
        Assert.NotNull(sentence);
        Assert.All(words, word => Assert.Contains(word, sentence, StringComparison.Ordinal));
        Assert.All(PatientData, word => Assert.DoesNotContain(word, sentence, StringComparison.OrdinalIgnoreCase));
    }

    /// <summary>Takes the stick once more: everything is delivered now, each picture once, and a further time changes nothing.</summary>
    public async Task AssertMendedAsync(FaultyArchive archive, int pictures = Pictures)
    {
        AssertDelivered(await OnceAsync("1 min"), pictures);
        AssertKeptOnce(archive, pictures);
        int requests = archive.Requests;
        AssertDelivered(await OnceAsync(), pictures);
        Assert.Equal(requests, archive.Requests);
    }

    public static void AssertDelivered(Run run, int pictures = Pictures)
    {
        Assert.True(run.ExitCode == ExitCodes.AllWell, $"exit code {run.ExitCode}: {run.Output} {run.Errors}");
        Assert.Equal((pictures, pictures, 0), (Sitting(run).Pictures, Sitting(run).Deliveries.Single().Delivered, Sitting(run).Deliveries.Single().Undelivered));
    }

    /// <summary>Every picture's scan lies in exactly one object, and no SOP instance came twice.</summary>
    public void AssertKeptOnce(FaultyArchive archive, int pictures = Pictures) =>
        AssertEachOnce([.. archive.Kept.Select(kept => kept.DataSet)], pictures);

    /// <summary>Every picture's scan, from SOS (FFDA) on, lies in exactly one of these objects.</summary>
    public void AssertEachOnce(IReadOnlyList<byte[]> objects, int pictures = Pictures)
    {
        Assert.Equal(pictures, objects.Count);
        foreach (string path in Directory.EnumerateFiles(Path.Combine(Site.Stick, "0001")).Order(StringComparer.Ordinal).Skip(1))
        {
            byte[] picture = File.ReadAllBytes(path);
            int scan = picture.AsSpan().IndexOf((ReadOnlySpan<byte>)[0xFF, 0xDA]);
            Assert.Single(objects, bytes => bytes.AsSpan().IndexOf(picture.AsSpan(scan)) >= 0);
        }
    }

    public void Dispose() => Site.Dispose();
}
