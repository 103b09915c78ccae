using System.Globalization;
using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Tests.EndToEnd;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Pipeline.Matches;
using Xunit;

namespace CameraBridge.Tests.Peers;

/// <summary>Our questions to two worklist servers that nobody here wrote: dcmtk's wlmscpfs, and Orthanc with its worklist plug-in.</summary>
public sealed class WorklistPeersTests : IDisposable
{
    private const string OrthancPlugin = "/usr/share/orthanc/plugins/libModalityWorklists.so";

    private static readonly WorklistQuestion Broad =
        new() { StationAETitle = "CAM1", From = new DateOnly(2026, 11, 24), To = new DateOnly(2026, 11, 26) };

    private readonly string _folder = Directory.CreateTempSubdirectory("camerabridge-worklists-").FullName;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    private static readonly string[] Keys =
    [
        "(0008,0005)", "(0008,0050)", "(0008,0090)", "(0008,1110)", "(0010,0010)", "(0010,0020)", "(0010,0021)", "(0010,0030)", "(0010,0040)", "(0020,000d)",
        "(0032,1060)", "(0032,1064)", "(0040,0100)", "(0008,0060)", "(0040,0001)", "(0040,0002)", "(0040,0003)", "(0040,0007)", "(0040,0008)", "(0040,0009)",
        "(0040,0020)", "(0040,1001)",
    ];

    [Fact]
    public async Task Wlmscpfs_answers_the_broad_question_and_the_one_by_id()
    {
        await WriteOrdersAsync(Orders());
        await using PeerProcess server = await PeerProcess.StartWorklistAsync(_folder, "-csk", "-rfp", Requests());
        await using Worklist worklist = Ask(server.Port);

        WorklistAnswers broad = await worklist.AskAsync(Broad, Cancellation);
        WorklistAnswers byId = await worklist.AskAsync(new WorklistQuestion { PatientID = "P0003" }, Cancellation);
        WorklistAnswers byOrder = await worklist.AskAsync(new WorklistQuestion { AccessionNumber = "A0002" }, Cancellation);
        WorklistAnswers unknown = await worklist.AskAsync(new WorklistQuestion { PatientID = "P9999" }, Cancellation);

        Assert.Null(broad.Failure);
        Assert.Equal(["P0001", "P0003"], broad.Steps.Select(step => step.PatientID).Order());
        Assert.Equal("S3", Assert.Single(byId.Steps).ScheduledProcedureStepID);
        Assert.Equal("P0002", Assert.Single(byOrder.Steps).PatientID);
        Assert.Empty(unknown.Steps);
        WorklistStep step = broad.Steps.Single(step => step.PatientID == "P0001");
        Assert.Null(step.TextFlaw);
        Assert.Contains("Müller^Änne", step.ToJson(), StringComparison.Ordinal);
        Assert.Equal(("2.25.1", "TESTVALE", "ES"), (step.StudyInstanceUID, step.IssuerOfPatientID, step.Modality));
    }

    [Fact]
    public async Task What_wlmscpfs_received_asks_for_every_key()
    {
        await WriteOrdersAsync(Orders());
        await using PeerProcess server = await PeerProcess.StartWorklistAsync(_folder, "-csk", "-rfp", Requests());
        await using (Worklist worklist = Ask(server.Port))
        {
            await worklist.AskAsync(Broad, Cancellation);
            await worklist.AskAsync(new WorklistQuestion { PatientID = "P0001" }, Cancellation);
        }

        string[] received = [.. Directory.GetFiles(Requests()).Order().Select(File.ReadAllText)];
        Assert.Equal(2, received.Length);
        string broad = received.Single(text => text.Contains("[CAM1", StringComparison.Ordinal));
        string byId = received.Single(text => text.Contains("[P0001", StringComparison.Ordinal));
        Assert.Contains("[20261124-20261126", broad, StringComparison.Ordinal);
        Assert.DoesNotContain("20261124", byId, StringComparison.Ordinal);
        foreach (string text in received)
        {
            Assert.All(
                Keys,
                tag => Assert.Contains(tag, text, StringComparison.OrdinalIgnoreCase));
        }
    }

    [Fact]
    public async Task Text_that_wlmscpfs_sends_without_its_character_set_is_flagged_and_read_by_the_fallback()
    {
        await WriteOrdersAsync(Orders());
        await using PeerProcess server = await PeerProcess.StartWorklistAsync(_folder);
        await using Worklist plain = Ask(server.Port);
        await using Worklist utf8 = Ask(server.Port, "ISO_IR 192");

        WorklistStep flawed = Assert.Single((await plain.AskAsync(new WorklistQuestion { PatientID = "P0001" }, Cancellation)).Steps);
        WorklistStep read = Assert.Single((await utf8.AskAsync(new WorklistQuestion { PatientID = "P0001" }, Cancellation)).Steps);

        Assert.NotNull(flawed.TextFlaw);
        Assert.DoesNotContain("M??ller", flawed.ToJson(), StringComparison.Ordinal);
        Assert.Contains("Müller^Änne", read.ToJson(), StringComparison.Ordinal);
    }

    [Fact]
    public async Task Five_hundred_answers_of_wlmscpfs_are_cut_off_at_the_limit()
    {
        await WriteOrdersAsync([.. Enumerable.Range(1, 200).Select(i => Order($"P{i:0000}", $"A{i:0000}", i, "CAM1", 25))]);
        await using PeerProcess server = await PeerProcess.StartWorklistAsync(_folder, "-csk");
        await using var worklist = new Worklist(WorklistTests.Site(), Steps.Worklist(server.Port, answerLimit: 50), TimeProvider.System);

        WorklistAnswers cut = await worklist.AskAsync(Broad, Cancellation);
        WorklistAnswers after = await worklist.AskAsync(new WorklistQuestion { PatientID = "P0007" }, Cancellation);

        Assert.True(cut.CutOff);
        Assert.Equal(50, cut.Total);
        Assert.Equal("S7", Assert.Single(after.Steps).ScheduledProcedureStepID);
    }

    [Fact]
    public async Task A_worklist_that_wlmscpfs_does_not_have_is_down_with_the_reason()
    {
        await WriteOrdersAsync(Orders(), title: "ELSEWHERE");
        await using PeerProcess server = await PeerProcess.StartWorklistAsync(_folder);
        await using Worklist worklist = Ask(server.Port);

        WorklistAnswers answers = await worklist.AskAsync(Broad, Cancellation);

        Assert.Equal("worklist-down", answers.Failure?.Code);
        Assert.Contains("BRIDGEWL", answers.Failure!.Words, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Wlmscpfs_without_its_lockfile_fails_and_is_told_by_its_status()
    {
        await WriteOrdersAsync(Orders());
        File.Delete(Path.Combine(_folder, "BRIDGEWL", "lockfile"));
        await using PeerProcess server = await PeerProcess.StartWorklistAsync(_folder);
        await using Worklist worklist = Ask(server.Port);

        WorklistAnswers answers = await worklist.AskAsync(Broad, Cancellation);

        // Seen with dcmtk 3.6.7: C-FIND Refused: OutOfResources.
        Assert.Equal("worklist-refused", answers.Failure?.Code);
        Assert.Contains("A700", answers.Failure!.Words, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Orthanc_answers_the_same_questions()
    {
        OutsideProgram.RequireThat(File.Exists(OrthancPlugin), OrthancPlugin);
        await WriteOrdersAsync(Orders());
        await using PeerProcess server = await PeerProcess.StartAsync("Orthanc", port =>
        {
            string configuration = Path.Combine(_folder, "orthanc.json");
            File.WriteAllText(configuration, string.Create(CultureInfo.InvariantCulture, $$"""
                {
                  "Name": "practice", "StorageDirectory": "{{_folder}}/orthanc", "IndexDirectory": "{{_folder}}/orthanc",
                  "HttpServerEnabled": false, "DicomAet": "BRIDGEWL", "DicomPort": {{port}}, "DicomCheckCalledAet": true, "DicomAlwaysAllowFindWorklist": true,
                  "Plugins": ["{{OrthancPlugin}}"],
                  "Worklists": { "Enable": true, "Database": "{{_folder}}/BRIDGEWL", "FilterIssuerAet": false, "LimitAnswers": 0 }
                }
                """));
            return [configuration];
        });
        await using Worklist worklist = Ask(server.Port);

        WorklistAnswers broad = await worklist.AskAsync(Broad, Cancellation);
        WorklistAnswers byId = await worklist.AskAsync(new WorklistQuestion { PatientID = "P0003" }, Cancellation);

        Assert.Null(broad.Failure);
        Assert.Equal(["P0001", "P0003"], broad.Steps.Select(step => step.PatientID).Order());
        Assert.Contains("Müller^Änne", broad.Steps.Single(step => step.PatientID == "P0001").ToJson(), StringComparison.Ordinal);
        Assert.Equal("S3", Assert.Single(byId.Steps).ScheduledProcedureStepID);
    }

    [Theory]
    [InlineData(nameof(WorklistKind.MwlRs))]
    [InlineData(nameof(WorklistKind.UpsRs))]
    public async Task A_server_that_pydicom_speaks_for_answers_by_DICOMweb_what_wlmscpfs_answers_by_CFIND(string kind)
    {
        await WriteOrdersAsync(Orders());
        await using PeerProcess dimse = await PeerProcess.StartWorklistAsync(_folder, "-csk");
        await using PeerProcess web = await PeerProcess.StartAsync(
            OutsideProgram.Python, port => [Path.Combine(Repository.Root, "tests/peers/worklist_web.py"), Path.Combine(_folder, "BRIDGEWL"), $"{port}"]);
        await using Worklist one = Ask(dimse.Port);
        await using var other = new Worklist(WorklistTests.Site(), Steps.WebWorklist(web.Port, Enum.Parse<WorklistKind>(kind)), TimeProvider.System);
        WorklistQuestion all = new() { From = new DateOnly(2026, 11, 24), To = new DateOnly(2026, 11, 28) };

        // The last but one of these asks for four, of which the server gives two at a time.
        foreach (WorklistQuestion question in new[] { Broad, new() { PatientID = "P0003" }, new() { AccessionNumber = "A0002" }, all, new() { PatientID = "P9999" } })
        {
            WorklistAnswers expected = await one.AskAsync(question, Cancellation);
            WorklistAnswers answers = await other.AskAsync(question, Cancellation);

            Assert.Null(answers.Failure);
            Assert.False(answers.CutOff);
            Assert.Equal(expected.Steps.Select(Told).Order(), answers.Steps.Select(Told).Order());
        }

        static string Told(WorklistStep step) => string.Join(
            '|', step.PatientID, step.IssuerOfPatientID, step.Item.GetString(Tags.PatientName), step.AccessionNumber, step.StudyInstanceUID, string.Join('+', step.StationAETitles), step.StartDate, step.StartTime);
    }

    private static Order[] Orders() =>
    [
        Order("P0001", "A0001", 1, "CAM1", 25) with { PatientName = "Müller^Änne" },
        Order("P0002", "A0002", 2, "CAM2", 25),
        Order("P0003", "A0003", 3, "CAM1", 26),
        Order("P0004", "A0004", 4, "CAM1", 28),
    ];

    private static Order Order(string patientID, string accession, int number, string station, int day) =>
        new("Sample^Ida", patientID, accession, $"2.25.{number}", station, "ES", new DateOnly(2026, 11, day), $"S{number}");

    private static Worklist Ask(int port, string? fallback = null) =>
        new(WorklistTests.Site(), Steps.Worklist(port, fallback: fallback), TimeProvider.System);

    private string Requests() => Directory.CreateDirectory(Path.Combine(_folder, "requests")).FullName;

    private async Task WriteOrdersAsync(Order[] orders, string title = "BRIDGEWL")
    {
        string database = Directory.CreateDirectory(Path.Combine(_folder, title)).FullName;
        await File.WriteAllBytesAsync(Path.Combine(database, "lockfile"), [], Cancellation);
        foreach (Order order in orders)
        {
            string dump = Path.Combine(_folder, order.StepId + ".dump");
            await File.WriteAllTextAsync(dump, order.ToDump(), new UTF8Encoding(false), Cancellation);
            await OutsideProgram.RunAsync("dump2dcm", "-q", "+te", dump, Path.Combine(database, order.StepId + ".wl"));
        }
    }
}
