using System.Text.Json;
using CameraBridge.Commands;
using CameraBridge.Commands.Exports;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Tests.Dicom.Iods;
using CameraBridge.Tests.Persistence;
using Xunit;

namespace CameraBridge.Tests.Commands;

/// <summary>A site whose state has sittings of invented objects: headers in the state, pixels in the spool.</summary>
internal sealed class ExportSite : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("cb-export-").FullName;

    public string Config => Path.Combine(_folder, "site.yaml");

    public string Spool => Path.Combine(_folder, "spool");

    public string Source => Path.Combine(_folder, "camera");

    /// <summary>Where exports go; not made yet.</summary>
    public string Out => Path.Combine(_folder, "out");

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public static async Task<ExportSite> CreateAsync()
    {
        ExportSite site = new();
        await CommandSite.WriteAsync(site._folder, Cancellation);
        await File.AppendAllTextAsync(site.Config, $"\nsources: [{{ name: stick, folder: {site.Source} }}]\n", Cancellation);
        Directory.CreateDirectory(site.Spool);
        return site;
    }

    /// <summary>A sitting of one patient with so many objects, all waiting for the archive.</summary>
    public async Task<long> AddSittingAsync(string folder, int pictures = 2, string patientID = "P1", Action<DataSet>? change = null, TransferSyntax? syntax = null)
    {
        syntax ??= TransferSyntax.JpegBaseline;
        await using SqlitePipelineDatabase database = await OpenAsync();
        await FlowSteps.QueueAsync(
            database, [.. Enumerable.Range(1, pictures).Select(i => $"{folder}/IMG_{i:0000}.JPG")], capture => Pieces(capture, patientID, change, syntax), syntax.Uid, ["archive"]);
        return (await database.GetReportAsync(null, Cancellation))[^1].Sitting.Id;
    }

    public async Task<SqlitePipelineDatabase> OpenAsync() => await SqlitePipelineDatabase.OpenAsync(Path.Combine(_folder, "state.db"), TimeProvider.System, Cancellation);

    public Task<TestTerminal> RunAsync(params string[] args) => TestTerminal.RunAsync(Cancellation, ["export", .. args, "--config", Config]);

    /// <summary>Exports all of the source to <see cref="Out"/>.</summary>
    public async Task<ExportReply> ExportAsync(params string[] more)
    {
        TestTerminal run = await RunAsync(["--source", "stick", "--to", Out, "--json", .. more]);
        ExportReply reply = JsonSerializer.Deserialize<ExportReply>(run.Out, JsonReply.Format)!;
        Assert.Equal(run.ExitCode, reply.ExitCode);
        return reply;
    }

    /// <summary>All files of the folder by their path, to see that nothing was changed.</summary>
    public IReadOnlyDictionary<string, string> Contents() => Directory.EnumerateFiles(Out, "*", SearchOption.AllDirectories)
        .ToDictionary(path => Path.GetRelativePath(Out, path), path => Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(File.ReadAllBytes(path))));

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    private List<StoredPiece> Pieces(Capture capture, string patientID, Action<DataSet>? change, TransferSyntax syntax)
    {
        string path = Path.Combine(Spool, capture.SpoolName);
        byte[] pixels = new byte[5001];
        new Random((int)capture.Id).NextBytes(pixels);
        File.WriteAllBytes(path, pixels);
        DataSet made = TestObject.Endoscopic();
        made.Set(Tags.SOPClassUID, FlowSteps.SOPClassUID);
        made.Set(Tags.SOPInstanceUID, $"2.25.{capture.Id}");
        made.Set(Tags.PatientID, patientID);
        made.Set(Tags.StudyInstanceUID, $"2.25.10{capture.SittingId}");
        made.Set(Tags.SeriesInstanceUID, $"2.25.20{capture.SittingId}");
        change?.Invoke(made);
        made.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromFile(path, 0, pixels.Length)])));
        return
        [
            .. ElementWriter.Encode(made, syntax).Pieces.Select(piece => piece.Path is null
                ? new StoredPiece(piece.Bytes.ToArray(), null, 0, piece.Length)
                : new StoredPiece(null, capture.SpoolName, piece.Offset, piece.Length)),
        ];
    }
}
