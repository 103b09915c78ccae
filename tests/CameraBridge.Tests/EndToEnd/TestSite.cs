using System.Diagnostics;
using System.Globalization;
using System.Text;
using System.Text.Json;
using CameraBridge.Commands;
using CameraBridge.Tests.Meta;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>What a run of the program left: its exit code, its report, and what it said.</summary>
internal sealed record Run(int ExitCode, string Output, string Errors)
{
    /// <summary>The report of <c>once --json</c>.</summary>
    public OnceReply Report => JsonSerializer.Deserialize<OnceReply>(Output, JsonReply.Format)
        ?? throw new InvalidOperationException($"no report; it said: {Errors}");
}

/// <summary>A site in a folder of its own: stick, spool, state and configuration, and the real executable run on it as an administrator would.</summary>
internal sealed class TestSite : IDisposable
{
    public const string Station = "TESTCAM1";

    private static readonly TimeSpan RunLimit = TimeSpan.FromMinutes(3);

    private readonly StringBuilder destinations = new();

    public TestSite(string? folder = null)
    {
        Folder = folder ?? Directory.CreateTempSubdirectory("camerabridge-site-").FullName;
        Stick = Path.Combine(Folder, "stick");
        Directory.CreateDirectory(Stick);
    }

    public string Folder { get; }

    /// <summary>Its own, unless it watches another's.</summary>
    public string Stick { get; init; }

    public string Spool { get; init; } = "";

    public string StateFile { get; init; } = "";

    public string ConfigurationFile => Path.Combine(Folder, "camerabridge.yaml");

    public string WorklistLines { get; set; } = "";

    public string SourceLines { get; set; } = "";

    /// <summary>Further settings at the top of the file.</summary>
    public string MoreLines { get; set; } = "";

    public string LabelLines { get; set; } = "  read: yes";

    /// <summary>The program that was built beside these tests.</summary>
    public static string Executable { get; } = Path.Combine(
        Repository.Root, "src", "CameraBridge", "bin", AppContext.BaseDirectory.Contains("/Release/", StringComparison.Ordinal) ? "Release" : "Debug", "net10.0",
        "camerabridge");

    public void UseWorklist(int port, string calledAETitle, string extraLines = "") => WorklistLines = string.Create(
        CultureInfo.InvariantCulture,
        $"worklist:\n  host: 127.0.0.1\n  port: {port}\n  called_ae_title: {calledAETitle}\n{extraLines}\n");

    /// <summary>A destination; most peers here only receive, and are taken at their word.</summary>
    public void AddDestination(string name, int port, string calledAETitle, string extraLines = "", string confirmBy = "none") => destinations.Append(
        CultureInfo.InvariantCulture,
        $"  - name: {name}\n    host: 127.0.0.1\n    port: {port}\n    called_ae_title: {calledAETitle}\n    confirm_by: {confirmBy}\n{extraLines}");

    public void AddWebDestination(string name, Uri url, string extraLines) => destinations.Append(CultureInfo.InvariantCulture, $"  - name: {name}\n    url: {url}\n{extraLines}");

    /// <summary>Forgets the destinations, to name others.</summary>
    public void ClearDestinations() => destinations.Clear();

    public void WriteConfiguration() => File.WriteAllText(ConfigurationFile, $"""
        institution:
          name: Test Vale Clinic
        time_zone: Europe/London
        spool: {(Spool.Length > 0 ? Spool : Path.Combine(Folder, "spool"))}
        state: {(StateFile.Length > 0 ? StateFile : Path.Combine(Folder, "state.db"))}
        sources:
          - name: stick
            folder: {Stick}
            kind: stick
            station:
              ae_title: {Station}
            settle_time: 0 s
        {SourceLines}
        labels:
        {LabelLines}
          patterns:
            - name: wristband
              expression: '^PID:(?<patient_id>[A-Z0-9]+)$'
            - name: order-sheet
              expression: '^ACC:(?<accession_number>[A-Z0-9]+)$'
        {WorklistLines}
        {MoreLines}
        destinations:
        {destinations}
        """);

    /// <summary>Runs <c>once</c> on the stick with a JSON report.</summary>
    /// <param name="environment">Environment variables on top of ours.</param>
    /// <param name="more">Further options.</param>
    public Task<Run> OnceAsync(IReadOnlyDictionary<string, string>? environment = null, params IEnumerable<string> more) =>
        RunAsync(["once", Stick, "--config", ConfigurationFile, "--json", .. more], environment);

    /// <summary>Runs the program to its end.</summary>
    public static async Task<Run> RunAsync(IEnumerable<string> arguments, IReadOnlyDictionary<string, string>? environment = null)
    {
        ProcessStartInfo start = new(Executable, arguments) { RedirectStandardOutput = true, RedirectStandardError = true };
        foreach ((string name, string value) in environment ?? new Dictionary<string, string>())
        {
            start.Environment[name] = value;
        }

        using Process process = new() { StartInfo = start };
        process.Start();
        using CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(TestContext.Current.CancellationToken);
        limit.CancelAfter(RunLimit);
        try
        {
            Task<string> output = process.StandardOutput.ReadToEndAsync(limit.Token);
            Task<string> errors = process.StandardError.ReadToEndAsync(limit.Token);
            await process.WaitForExitAsync(limit.Token);
            return new Run(process.ExitCode, await output, await errors);
        }
        finally
        {
            if (!process.HasExited)
            {
                process.Kill();
            }
        }
    }

    /// <summary>Writes a folder of the stick: label shots and stills under numbered names.</summary>
    public void WriteFolder(string name, params IReadOnlyList<byte[]> pictures)
    {
        string folder = Path.Combine(Stick, name);
        Directory.CreateDirectory(folder);
        for (int i = 0; i < pictures.Count; i++)
        {
            File.WriteAllBytes(Path.Combine(folder, string.Create(CultureInfo.InvariantCulture, $"IMG_{i + 1:0000}.JPG")), pictures[i]);
        }
    }

    /// <summary>SHA-256 of every file of the stick by its path, to see that the source was left alone.</summary>
    public IReadOnlyDictionary<string, string> StickContents() => Directory.EnumerateFiles(Stick, "*", SearchOption.AllDirectories)
        .ToDictionary(
            path => Path.GetRelativePath(Stick, path),
            path => Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(File.ReadAllBytes(path))));

    public void Dispose() => Directory.Delete(Folder, recursive: true);
}
