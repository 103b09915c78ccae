using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Practice.Sticks;

namespace CameraBridge.Benchmarks;

/// <summary>The configuration of a site with a source or two, the practice hospital's worklist, and one destination.</summary>
internal sealed record SiteFile
{
    /// <summary>Folder of its own, for spool, state and the file.</summary>
    public required string Place { get; init; }

    /// <summary>What the sources watch, one each.</summary>
    public required IReadOnlyList<string> Folders { get; init; }

    /// <summary>Port of the practice hospital.</summary>
    public required int Worklist { get; init; }

    public required int Archive { get; init; }

    public string ArchiveAETitle { get; init; } = "PEERSTORE";

    public string ConfirmBy { get; init; } = "none";

    public int Associations { get; init; } = new DestinationConfiguration().Associations;

    /// <summary>A state on a server, as the file says it; null for a file beside the spool.</summary>
    public string? State { get; init; }

    public string Kind { get; init; } = "share";

    public int QuietSeconds { get; init; } = 3;

    public string Optic { get; init; } = "general";

    public bool ReadsLabels { get; init; }

    /// <summary>Writes it.</summary>
    /// <returns>Its path.</returns>
    public string Write(string name = "camerabridge.yaml")
    {
        string path = Path.Combine(Directory.CreateDirectory(Place).FullName, name);
        File.WriteAllText(path, string.Create(CultureInfo.InvariantCulture, $"""
            time_zone: UTC
            spool: {Place}/spool
            state: {State ?? $"{Place}/state.db"}
            sources:
            {string.Join('\n', Folders.Select(Source))}
            labels:
              read: {(ReadsLabels ? "yes" : "no")}
              patterns:
                - name: wristband
                  expression: '^PID:(?<patient_id>[0-9]+)$'
                  issuer: {StickPlan.Issuer}
            worklist:
              host: 127.0.0.1
              port: {Worklist}
              called_ae_title: PRACTICE
            destinations:
              - name: archive
                host: 127.0.0.1
                port: {Archive}
                called_ae_title: {ArchiveAETitle}
                confirm_by: {ConfirmBy}
                associations: {Associations}
            """));
        return path;
    }

    /// <summary>One source, as the list of sources says it.</summary>
    private string Source(string folder, int index) => string.Create(CultureInfo.InvariantCulture, $"""
          - name: source{index}
            folder: {folder}
            kind: {Kind}
            station:
              ae_title: {StickPlan.StationAETitle}
            settle_time: 0 s
            quiet_time: {QuietSeconds} s
            optic: {Optic}
        """);
}
