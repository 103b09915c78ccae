using System.Text;
using System.Text.Json;
using CameraBridge.Dicom.Web;
using CameraBridge.Practice;
using CameraBridge.Tests.Peers;
using CameraBridge.Tests.Pipeline.Matches;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;

namespace CameraBridge.Tests.Commands;

public sealed class CheckCommandTests : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("cb-check-").FullName;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    [Fact]
    public async Task Check_walks_to_the_worklist_and_the_archive_and_ends_well()
    {
        PracticeOptions options = new() { Orders = [Order()], ArchiveFolder = Path.Combine(_folder, "archive") };
        await using PracticeHospital hospital = await PracticeHospital.StartAsync(options, TimeProvider.System, NullLogger<PracticeHospital>.Instance, Cancellation);

        TestTerminal run = await CheckAsync(hospital.EndPoint.Port, "PRACTICE");

        Assert.Equal("", run.Error);
        Assert.Equal(0, run.ExitCode);
        string[] words = Words(run);
        Assert.Contains("ok worklist: query: 1 steps scheduled today, 1 of them for the sources' stations", words);
        Assert.Contains("ok destination archive: contexts: takes VL Endoscopic Image as JPEG Baseline", words);
        Assert.Contains("ok destination archive: contexts: takes VL Photographic Image as JPEG Baseline", words);
    }

    [Fact]
    public async Task Check_goes_on_after_a_failure_and_tells_each_next_step()
    {
        PracticeOptions options = new() { Orders = [Order()], ArchiveFolder = Path.Combine(_folder, "archive") };
        await using PracticeHospital hospital = await PracticeHospital.StartAsync(options, TimeProvider.System, NullLogger<PracticeHospital>.Instance, Cancellation);

        TestTerminal run = await CheckAsync(hospital.EndPoint.Port, "NOBODY", deadPort: FreePort());

        Assert.Equal(4, run.ExitCode);
        JsonElement[] failed = [.. run.Json().GetProperty("steps").EnumerateArray().Where(step => step.GetProperty("outcome").GetString() == "failed")];
        Assert.Equal(["worklist: association", "destination archive: TCP"], failed.Select(step => step.GetProperty("step").GetString()));
        Assert.All(failed, step => Assert.NotEqual("", step.GetProperty("next_step").GetString()));
        Assert.Contains(Words(run), line => line.StartsWith("skipped destination archive: association", StringComparison.Ordinal));
    }

    [Fact]
    public async Task Check_asks_each_of_several_worklists_and_tells_them_apart()
    {
        PracticeOptions options = new() { Orders = [Order()], ArchiveFolder = Path.Combine(_folder, "archive") };
        await using PracticeHospital hospital = await PracticeHospital.StartAsync(options, TimeProvider.System, NullLogger<PracticeHospital>.Instance, Cancellation);
        await using var good = new ScriptedWebPeer(request => request.AnswerAsync(200, Encoding.UTF8.GetString(DicomJson.WriteArray([Steps.Answer()]))));
        await using var wrong = new ScriptedWebPeer(request => request.AnswerAsync(404));

        TestTerminal run = await CheckAsync(hospital.EndPoint.Port, "PRACTICE", worklists: $$"""
              - { name: good, kind: mwl-rs, url: '{{good.Root}}' }
              - { name: wrong, kind: ups-rs, url: '{{wrong.Root}}' }
            """);

        Assert.Equal("", run.Error);
        Assert.Equal(4, run.ExitCode);
        string[] words = Words(run);
        Assert.Contains("ok worklist RIS: query: 1 steps scheduled today, 1 of them for the sources' stations", words);
        Assert.Contains("ok worklist good: query: 1 steps scheduled today, 1 of them for the sources' stations", words);
        Assert.Contains(words, line => line.StartsWith("failed worklist wrong: query: The worklist wrong has nothing at this address: check the path of its DICOMweb root (HTTP 404).", StringComparison.Ordinal));
    }

    private async Task<TestTerminal> CheckAsync(int port, string title, int? deadPort = null, string worklists = "")
    {
        Directory.CreateDirectory(Path.Combine(_folder, "spool"));
        Directory.CreateDirectory(Path.Combine(_folder, "camera"));
        string config = Path.Combine(_folder, "site.yaml");
        await File.WriteAllTextAsync(
            config,
            FormattableString.Invariant($"""
            spool: {_folder}/spool
            state: {_folder}/state.db
            time_zone: {TimeZoneInfo.Local.Id}
            sources:
              - name: room
                folder: {_folder}/camera
                station:
                  ae_title: CAM1
            worklist:
              - name: RIS
                host: 127.0.0.1
                port: {port}
                called_ae_title: {title}
            {worklists}
            destinations:
              - name: archive
                host: 127.0.0.1
                port: {deadPort ?? port}
                called_ae_title: {title}
            """),
            Cancellation);
        return await TestTerminal.RunAsync(Cancellation, "check", "--json", "--config", config);
    }

    private static PracticeOrder Order() => new()
    {
        AccessionNumber = "A0001",
        PatientName = "Sample^Ida",
        PatientID = "P0001",
        ScheduledProcedureStepID = "SPS1",
        ScheduledStationAETitle = "CAM1",
        Modality = "ES",
        Start = new PracticeStart(null, 0, new TimeOnly(9, 0)),
    };

    private static string[] Words(TestTerminal run) => [.. run.Json().GetProperty("steps").EnumerateArray().Select(step =>
        $"{step.GetProperty("outcome").GetString()} {step.GetProperty("step").GetString()}: {step.GetProperty("words").GetString()}")];

    private static int FreePort()
    {
        using System.Net.Sockets.TcpListener listener = new(System.Net.IPAddress.Loopback, 0);
        listener.Start();
        return ((System.Net.IPEndPoint)listener.LocalEndpoint).Port;
    }
}
