using System.Security.Cryptography;
using System.Text.Json;
using CameraBridge.Commands;
using CameraBridge.Practice;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Commands;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>The drawn clinic morning, the practice hospital that expects its patients, and a configuration for both.</summary>
internal sealed class DemoStick : IAsyncDisposable
{
    public static readonly DateOnly Day = new(2026, 3, 17);

    private readonly PracticeHospital _hospital;

    private DemoStick(string root, StickPlan plan, PracticeHospital hospital)
    {
        Root = root;
        Plan = plan;
        _hospital = hospital;
    }

    public string Root { get; }

    public StickPlan Plan { get; }

    public string Stick => Path.Combine(Root, "stick");

    public string Archive => Path.Combine(Root, "archive");

    public string Config => Path.Combine(Root, "camerabridge.yaml");

    /// <summary>Where the archive is believed to be; a test may point it elsewhere before a run.</summary>
    public int ArchivePort { get; set; }

    public static async Task<DemoStick> CreateAsync(CancellationToken cancellation, StickPlan? chosen = null)
    {
        string root = Directory.CreateTempSubdirectory("cb-demo-").FullName;
        StickPlan plan = chosen ?? StickPlan.Clinic(Day);
        StickDrawer.Draw(plan, Path.Combine(root, "stick"), seed: 7, Day, TimeZoneInfo.FindSystemTimeZoneById("Europe/London"));
        PracticeOptions options = new() { Orders = PracticeOrders.Parse(StickOrders.Write(plan.Orders), "orders.yaml"), ArchiveFolder = Path.Combine(root, "archive") };
        PracticeHospital hospital = await PracticeHospital.StartAsync(options, TimeProvider.System, NullLogger<PracticeHospital>.Instance, cancellation);
        return new DemoStick(root, plan, hospital) { ArchivePort = hospital.EndPoint.Port };
    }

    public async Task<(TestTerminal Run, OnceReply Reply)> OnceAsync(CancellationToken cancellation, params string[] more)
    {
        await WriteConfigAsync(cancellation);
        TestTerminal run = await TestTerminal.RunAsync(cancellation, ["once", Stick, "--config", Config, "--json", .. more]);
        Assert.Equal("", run.Error);
        return (run, JsonSerializer.Deserialize<OnceReply>(run.Out, JsonReply.Format)!);
    }

    public async Task WriteConfigAsync(CancellationToken cancellation) =>
        await File.WriteAllTextAsync(
            Config,
            FormattableString.Invariant($$"""
            time_zone: Europe/London
            spool: {{Root}}/spool
            state: {{Root}}/state.db
            sources:
              - name: clinic-stick
                folder: {{Stick}}
                kind: stick
                station:
                  ae_title: HOLLINCAM1
                settle_time: 0 s
                quiet_time: 1 s
                rescan_interval: 500 ms
            labels:
              patterns:
                - name: wristband
                  expression: '^PID:(?<patient_id>[0-9]{7})$'
                  issuer: HOLLINVALE
                - name: order-sheet
                  expression: '^ACC:(?<accession_number>[A-Z]{2}[0-9]{6})$'
            worklist:
              host: 127.0.0.1
              port: {{_hospital.EndPoint.Port}}
              called_ae_title: PRACTICE
            destinations:
              - name: archive
                host: 127.0.0.1
                port: {{ArchivePort}}
                called_ae_title: PRACTICE
                first_retry_delay: 200 ms
            """),
            cancellation);

    public Task<TestTerminal> HeldAsync(CancellationToken cancellation, params string[] args) =>
        TestTerminal.RunAsync(cancellation, ["held", .. args, "--config", Config]);

    /// <summary>SHA-256 over every file of the stick with its name: whether it is as it was.</summary>
    public string Fingerprint()
    {
        using IncrementalHash hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        foreach (string path in Directory.EnumerateFiles(Stick, "*", SearchOption.AllDirectories).Order(StringComparer.Ordinal))
        {
            hash.AppendData(System.Text.Encoding.UTF8.GetBytes($"{path} {File.GetLastWriteTimeUtc(path).Ticks}"));
            hash.AppendData(File.ReadAllBytes(path));
        }

        return Convert.ToHexString(hash.GetHashAndReset());
    }

    public async ValueTask DisposeAsync()
    {
        await _hospital.DisposeAsync();
        Directory.Delete(Root, recursive: true);
    }
}
