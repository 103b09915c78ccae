using System.Buffers.Binary;
using System.Diagnostics;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Benchmarks;

/// <summary>
/// What a backlog costs: the service with 100,000, 200,000 and 300,000 objects that wait for an archive. Its memory while the archive is away and while it sends, the
/// time from its start until it is ready, and, after a kill while it sends, the time from the next start until the archive has the next object.
/// </summary>
internal static class BacklogBenchmark
{
    private const int Step = 100_000, Steps = 3, InFolder = 500, ObjectBytes = 100_000;

    private const string Photograph = SopClasses.VLPhotographicImageStorage;

    // Pixel Data (7FE0,0010) OB of undefined length, an empty offset table, and an item of the picture's length (PS3.5 section A.4).
    private static readonly byte[] PixelHead = [0xE0, 0x7F, 0x10, 0x00, (byte)'O', (byte)'B', 0, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0xFE, 0xFF, 0x00, 0xE0, 0, 0, 0, 0, 0xFE, 0xFF, 0x00, 0xE0];

    private static readonly byte[] PixelEnd = [0xFE, 0xFF, 0xDD, 0xE0, 0, 0, 0, 0];

    private static readonly TimeSpan Away = TimeSpan.FromSeconds(15), Sending = TimeSpan.FromSeconds(10), Limit = TimeSpan.FromMinutes(2);

    public static async Task<int> RunAsync(string[] args)
    {
        string program = OnceProgram.Option(args, "--program") ?? OnceProgram.Built;
        string home = Directory.CreateTempSubdirectory("camerabridge-backlog-").FullName;
        try
        {
            string spool = Directory.CreateDirectory(Path.Combine(home, "spool")).FullName;
            Directory.CreateDirectory(Path.Combine(home, "share"));
            byte[] picture = new byte[ObjectBytes];
            new Random(1).NextBytes(picture);
            await File.WriteAllBytesAsync(Path.Combine(spool, "picture"), picture);
            await using PeerProcess storescp = await PeerProcess.StartAsync(
                "storescp", port => ["-v", "--ignore", "+xa", "--fork", "-aet", "PEERSTORE", "--max-pdu", "131072", $"{port}"], CameraBridge.Benchmarks.Sending.Tuned);
            Console.WriteLine("waiting   ready after s   peak MiB, archive away   peak MiB, sending   after a kill: ready s   next object s");
            for (int step = 1; step <= Steps; step++)
            {
                await PopulateAsync(home, step);
                await MeasureAsync(program, home, step, storescp);
            }

            return 0;
        }
        finally
        {
            Directory.Delete(home, recursive: true);
        }
    }

    private static async Task MeasureAsync(string program, string home, int step, PeerProcess storescp)
    {
        double ready;
        long away, sending;
        await using (ServiceProcess service = ServiceProcess.Start(program, Write(home, PeerProcess.FreePort())))
        {
            ready = await service.ReadyAsync();
            await Task.Delay(Away, TimeProvider.System);
            away = service.PeakBytes;
        }

        string configuration = Write(home, storescp.Port);
        int before = Stored(storescp);
        await using (ServiceProcess service = ServiceProcess.Start(program, configuration))
        {
            await service.UntilAsync(() => Task.FromResult(Stored(storescp) > before), Limit);
            await Task.Delay(Sending, TimeProvider.System);
            sending = service.PeakBytes;
            await service.KillAsync();
        }

        Stopwatch watch = Stopwatch.StartNew();
        before = Stored(storescp);
        await using (ServiceProcess service = ServiceProcess.Start(program, configuration))
        {
            double again = await service.ReadyAsync();
            await service.UntilAsync(() => Task.FromResult(Stored(storescp) > before), Limit);
            Console.WriteLine(string.Create(
                CultureInfo.InvariantCulture, $"{step * Step,7} {ready,15:0.00} {away >> 20,24} {sending >> 20,19} {again,23:0.00} {watch.Elapsed.TotalSeconds,15:0.00}"));
        }
    }

    private static int Stored(PeerProcess storescp) => storescp.Output.Split("Received Store Request").Length - 1;

    private static string Write(string home, int port)
    {
        string configuration = Path.Combine(home, "camerabridge.yaml");
        File.WriteAllText(configuration, string.Create(CultureInfo.InvariantCulture, $"""
            time_zone: UTC
            spool: {home}/spool
            state: {home}/state.db
            sources:
              - name: share
                folder: {home}/share
            worklist:
              host: 127.0.0.1
              port: 1
              called_ae_title: NOBODY
            destinations:
              - name: archive
                host: 127.0.0.1
                port: {port}
                called_ae_title: PEERSTORE
                confirm_by: none
            """));
        return configuration;
    }

    /// <summary>Takes pictures through the state as the stages would, up to their deliveries; all share one file in the spool.</summary>
    private static async Task PopulateAsync(string home, int step)
    {
        TimeSpan lease = TimeSpan.FromMinutes(5);
        CancellationToken none = CancellationToken.None;
        await using IPipelineDatabase database = await PipelineDatabase.OpenAsync(
            new SiteConfiguration { SpoolFolder = Path.Combine(home, "spool"), StateFile = Path.Combine(home, "state.db") }, TimeProvider.System, none);
        for (int folder = 0; folder < Step / InFolder; folder++)
        {
            string name = string.Create(CultureInfo.InvariantCulture, $"{(step * Step / InFolder) + folder:000000}");
            DateTimeOffset now = TimeProvider.System.GetUtcNow();
            await database.AddCapturesAsync(
                [.. Enumerable.Range(1, InFolder).Select(i => new Capture
                {
                    Source = "share",
                    Place = string.Create(CultureInfo.InvariantCulture, $"{name}/IMG_{i:0000}.JPG"),
                    Folder = name,
                    Size = ObjectBytes,
                    ModifiedAt = now,
                    Sha256 = string.Create(CultureInfo.InvariantCulture, $"{step:x8}{folder:x8}{i:x48}"),
                    SpoolName = "picture",
                    SettledAt = now,
                })],
                TimeSpan.Zero,
                none);
            IReadOnlyList<Work> cues = await database.LeaseAsync(Stage.Cues, "", int.MaxValue, lease, none);
            await database.CompleteCuesAsync([.. cues.Select(work => new CaptureReading(work, now, "file", []))], none);
            Work closing = (await database.LeaseAsync(Stage.Sittings, "", 1, lease, none)).Single();
            IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(closing.SubjectId, none);
            await database.CompleteSittingAsync(closing, [new SittingPart([.. captures.Select(capture => capture.Id)], "folder", Empty: false)], none);
            Work matching = (await database.LeaseAsync(Stage.Matches, "", 1, lease, none)).Single();
            await database.CompleteMatchAsync(matching, new Match { SittingId = matching.SubjectId, StepJson = "[{}]" }, none);
            Work making = (await database.LeaseAsync(Stage.Objects, "", 1, lease, none)).Single();
            string study = Uids.NewFromUuid();
            await database.CompleteObjectsAsync(making, [.. captures.Select(capture => ObjectOf(capture, study))], [], [], none);
        }
    }

    private static ImagingObject ObjectOf(Capture capture, string study)
    {
        string instance = Uids.NewFromUuid();
        DataSet header = new();
        header.Set(Tags.SOPClassUID, Photograph);
        header.Set(Tags.SOPInstanceUID, instance);
        header.Set(Tags.StudyInstanceUID, study);
        // As long as a real header is.
        header.Set(Tags.ImageComments, new string('x', 1500));
        using MemoryStream bytes = new();
        using (Stream encoded = ElementWriter.Encode(header, TransferSyntax.ExplicitLittleEndian).OpenRead())
        {
            encoded.CopyTo(bytes);
        }

        bytes.Write(PixelHead);
        byte[] length = new byte[4];
        BinaryPrimitives.WriteInt32LittleEndian(length, ObjectBytes);
        bytes.Write(length);
        return new ImagingObject
        {
            CaptureId = capture.Id,
            SOPClassUID = Photograph,
            SOPInstanceUID = instance,
            StudyInstanceUID = study,
            SeriesInstanceUID = study + ".1",
            TransferSyntaxUID = TransferSyntaxes.JPEGBaseline8Bit,
            Pieces = [new StoredPiece(bytes.ToArray(), null, 0, bytes.Length), new StoredPiece(null, "picture", 0, ObjectBytes), new StoredPiece(PixelEnd, null, 0, PixelEnd.Length)],
            Destinations = ["archive"],
        };
    }
}
