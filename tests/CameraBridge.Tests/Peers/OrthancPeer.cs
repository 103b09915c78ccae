using System.Globalization;
using System.Net.Http.Headers;
using System.Net.Http.Json;
using System.Text;

namespace CameraBridge.Tests.Peers;

/// <summary>Orthanc as archive (DIMSE and DICOMweb) and as second worklist server, on the loopback, with its files in a folder of the test.</summary>
internal sealed class OrthancPeer : IAsyncDisposable
{
    public const string AETitle = "PEERORTHANC";
    public const string User = "gateway";

    private readonly PeerProcess process;
    private readonly HttpClient http;

    private OrthancPeer(PeerProcess process, int dicomPort, string? password)
    {
        this.process = process;
        DicomPort = dicomPort;
        http = new HttpClient { BaseAddress = new Uri(string.Create(CultureInfo.InvariantCulture, $"http://127.0.0.1:{process.Port}/")) };
        if (password is not null)
        {
            http.DefaultRequestHeaders.Authorization = new AuthenticationHeaderValue("Basic", Convert.ToBase64String(Encoding.UTF8.GetBytes($"{User}:{password}")));
        }
    }

    /// <summary>Where its DICOMweb services begin.</summary>
    public Uri DicomWebRoot => new(http.BaseAddress!, "dicom-web");

    public int DicomPort { get; }

    /// <param name="folder">For its configuration and storage.</param>
    /// <param name="worklistItems">Folder with worklist files; null for none.</param>
    /// <param name="password">Password of <see cref="User"/>, which it then asks for; null for nobody.</param>
    /// <param name="reportPort">Port on the loopback where it reports storage commitment to CAMBRIDGE, in an association of its own.</param>
    public static async Task<OrthancPeer> StartAsync(string folder, string? worklistItems = null, string? password = null, int reportPort = 104)
    {
        Directory.CreateDirectory(Path.Combine(folder, "storage"));
        int dicomPort = PeerProcess.FreePort();
        PeerProcess? process = null;
        try
        {
            process = await PeerProcess.StartAsync("/usr/sbin/Orthanc", httpPort => Configure(folder, worklistItems ?? folder, httpPort, dicomPort, password, reportPort));
            OrthancPeer peer = new(process, dicomPort, password);
            process = null;
            return peer;
        }
        finally
        {
            await (process?.DisposeAsync() ?? ValueTask.CompletedTask);
        }
    }

    private static string[] Configure(string folder, string worklistItems, int httpPort, int dicomPort, string? password, int reportPort)
    {
        string configuration = Path.Combine(folder, "orthanc.json");
        File.WriteAllText(configuration, string.Create(CultureInfo.InvariantCulture, $$"""
            {
              "Name": "PEER", "StorageDirectory": "{{folder}}/storage", "IndexDirectory": "{{folder}}/storage",
              "HttpPort": {{httpPort}}, "RemoteAccessAllowed": false, "AuthenticationEnabled": {{(password is null ? "false" : "true")}},
              "RegisteredUsers": { "{{User}}": "{{password ?? "unused"}}" },
              "DicomAet": "{{AETitle}}", "DicomPort": {{dicomPort}}, "DicomCheckCalledAet": true,
              "DicomModalities": { "gateway": { "AET": "CAMBRIDGE", "Host": "127.0.0.1", "Port": {{reportPort}}, "AllowStorageCommitment": true } },
              "DicomAlwaysAllowStore": true, "DicomAlwaysAllowFind": true, "DicomAlwaysAllowFindWorklist": true, "DefaultEncoding": "Utf8",
              "Plugins": ["/usr/share/orthanc/plugins/libModalityWorklists.so", "/usr/share/orthanc/plugins/libOrthancDicomWeb.so"],
              "DicomWeb": { "Enable": true, "Root": "/dicom-web/", "EnableWado": true, "Ssl": false },
              "Worklists": { "Enable": true, "Database": "{{worklistItems}}", "FilterIssuerAet": false }
            }
            """));
        return [configuration];
    }

    /// <summary>Writes every instance that it keeps as a Part 10 file into the folder.</summary>
    public async Task DownloadAllAsync(string folder)
    {
        Directory.CreateDirectory(folder);
        string[] instances = await http.GetFromJsonAsync<string[]>("instances") ?? [];
        foreach (string instance in instances)
        {
            await File.WriteAllBytesAsync(Path.Combine(folder, instance + ".dcm"), await http.GetByteArrayAsync($"instances/{instance}/file"));
        }
    }

    public async ValueTask DisposeAsync()
    {
        http.Dispose();
        await process.DisposeAsync();
    }
}
