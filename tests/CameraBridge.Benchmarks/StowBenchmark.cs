using System.Diagnostics;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Benchmarks;

/// <summary>
/// Objects of about 100 KB by STOW-RS, one request at a time over one connection: the sender of the service from its spool, against curl posting the same multipart
/// bodies from files, in turns in the same run; to a server that only reads (Kestrel), and to Orthanc with its plug-in dicom-web.
/// </summary>
internal static class StowBenchmark
{
    private const string Photograph = SopClasses.VLPhotographicImageStorage;
    private const int Rounds = 3;

    private static readonly int[] Batches = [50, 1];

    public static async Task<int> RunAsync(string[] args)
    {
        int count = OnceProgram.Option(args, "--count") is { } text ? int.Parse(text, CultureInfo.InvariantCulture) : 2000;
        string folder = Directory.CreateTempSubdirectory("camerabridge-stow-").FullName;
        try
        {
            Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"objects of 100 KB, one request at a time, {Rounds} rounds in turns"));
            Console.WriteLine("server    batch  objects  ours, objects/s     curl, objects/s     times curl (each round)");
            foreach (int batch in Batches)
            {
                await ToSinkAsync(folder, count, batch);
            }

            foreach (int batch in Batches)
            {
                await ToOrthancAsync(folder, count / 4, batch);
            }

            return 0;
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private static async Task ToSinkAsync(string folder, int count, int batch)
    {
        await using WebSink sink = await WebSink.StartAsync();
        await CompareAsync("Kestrel", sink.Root, folder, count, batch, sink);
    }

    private static async Task ToOrthancAsync(string folder, int count, int batch)
    {
        await using OrthancPeer orthanc = await OrthancPeer.StartAsync(Path.Combine(folder, string.Create(CultureInfo.InvariantCulture, $"orthanc-{batch}")));
        await CompareAsync("Orthanc", orthanc.DicomWebRoot, folder, count, batch, null);
    }

    private static async Task CompareAsync(string server, Uri root, string folder, int count, int batch, WebSink? sink)
    {
        List<double> ours = [], theirs = [];
        for (int round = 0; round < Rounds; round++)
        {
            // Each has objects of its own: an archive does other work with those that it has already.
            foreach (bool isOurs in round % 2 == 0 ? (bool[])[true, false] : [false, true])
            {
                string place = Directory.CreateDirectory(Path.Combine(folder, "objects")).FullName;
                ImagingObject[] objects = await MakeAsync(place, count);
                sink?.Expect(objects.Select(made => made.SOPInstanceUID).Chunk(batch));
                double seconds = isOurs ? await OursAsync(root, place, objects, batch) : await CurlAsync(root, place, objects, batch);
                (isOurs ? ours : theirs).Add(count / seconds);
                Directory.Delete(place, recursive: true);
            }
        }

        Console.WriteLine(string.Create(
            CultureInfo.InvariantCulture,
            $"{server,-8} {batch,6} {count,8}  {Rates(ours),-18}  {Rates(theirs),-18}  {string.Join(' ', ours.Zip(theirs, (one, other) => (one / other).ToString("0.00", CultureInfo.InvariantCulture)))}"));
    }

    private static string Rates(List<double> rates) => string.Join(' ', rates.Select(rate => rate.ToString("0", CultureInfo.InvariantCulture)));

    private static async Task<double> OursAsync(Uri root, string spool, ImagingObject[] objects, int batch)
    {
        WebConfiguration web = new() { Name = "server", Url = root, BatchObjects = batch };
        await using StowSender sender = new(web, new LinkShare([], TimeZoneInfo.Utc, TimeProvider.System), spool, isAsked: false, TimeProvider.System);
        DeliveryTask[] tasks =
        [
            .. objects.Select(made => new DeliveryTask(
                new Work(made.Id, Stage.Deliveries, made.Id, "server", 0, DateTimeOffset.UnixEpoch), new Delivery { Id = made.Id, ImagingObjectId = made.Id, Destination = "server" }, made)),
        ];
        Stopwatch watch = Stopwatch.StartNew();
        int stored = 0;
        await foreach (TriedDelivery tried in sender.SendAsync(tasks, tasks, CancellationToken.None))
        {
            stored += tried.Attempt.Outcome is DeliveryOutcome.Stored ? 1 : throw new InvalidOperationException(tried.Attempt.Outcome.Words);
        }

        return stored == objects.Length ? watch.Elapsed.TotalSeconds : throw new InvalidOperationException("not all were stored");
    }

    /// <summary>The same bodies from files, by one curl, which keeps its connection.</summary>
    private static async Task<double> CurlAsync(Uri root, string folder, ImagingObject[] objects, int batch)
    {
        string config = Path.Combine(folder, "curl.config");
        List<string> requests = [];
        foreach (ImagingObject[] part in objects.Chunk(batch))
        {
            using MultipartBody body = new(
                "application/dicom",
                [.. part.Select(made => new MultipartBodyPart(
                    "application/dicom", StowInstance.FromDataSet(Photograph, made.SOPInstanceUID, made.TransferSyntaxUID, SpooledObject.Locate(made, folder)).File))]);
            string file = Path.Combine(folder, string.Create(CultureInfo.InvariantCulture, $"body-{requests.Count}"));
            await using (FileStream target = File.Create(file))
            {
                await body.CopyToAsync(target);
            }

            string type = body.Headers.ContentType!.ToString().Replace("\"", "\\\"", StringComparison.Ordinal);
            requests.Add($"url = \"{root}/studies\"\nrequest = \"POST\"\nupload-file = \"{file}\"\nheader = \"Content-Type: {type}\"\nheader = \"Accept: application/dicom+json\"\n"
                + "output = \"/dev/null\"\nwrite-out = \"%{http_code}\\n\"\nsilent\n");
        }

        await File.WriteAllTextAsync(config, string.Join("next\n", requests));
        Stopwatch watch = Stopwatch.StartNew();
        (int code, string said) = await PeerProcess.RunAsync("curl", ["-K", config], CancellationToken.None);
        double seconds = watch.Elapsed.TotalSeconds;
        string[] statuses = said.Split('\n', StringSplitOptions.RemoveEmptyEntries);
        return code == 0 && statuses.Length == requests.Count && statuses.All(status => status == "200") ? seconds : throw new InvalidOperationException($"curl: {code}, {said}");
    }

    /// <summary>Noise in the place of pictures, as data sets in spool files that are in the page cache.</summary>
    private static async Task<ImagingObject[]> MakeAsync(string folder, int count)
    {
        ImagingObject[] objects = new ImagingObject[count];
        Random random = new(4711);
        string study = Uids.NewFromUuid(), series = Uids.NewFromUuid();
        for (int i = 0; i < count; i++)
        {
            byte[] noise = new byte[random.Next(80_000, 120_000)];
            random.NextBytes(noise);
            string instance = Uids.NewFromUuid();
            DataSet dataSet = new();
            dataSet.Set(Tags.SOPClassUID, Photograph);
            dataSet.Set(Tags.SOPInstanceUID, instance);
            dataSet.Set(Tags.Modality, "XC");
            dataSet.Set(Tags.PatientID, "SAMPLE");
            dataSet.Set(Tags.StudyInstanceUID, study);
            dataSet.Set(Tags.SeriesInstanceUID, series);
            dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromBytes(noise)])));
            PixelSource encoded = ElementWriter.Encode(dataSet, TransferSyntax.JpegBaseline);
            string name = string.Create(CultureInfo.InvariantCulture, $"{i:00000}");
            await using (FileStream target = File.Create(Path.Combine(folder, name)))
            await using (Stream source = encoded.OpenRead())
            {
                await source.CopyToAsync(target);
            }

            objects[i] = new ImagingObject
            {
                Id = i + 1,
                CaptureId = i + 1,
                SOPClassUID = Photograph,
                SOPInstanceUID = instance,
                StudyInstanceUID = study,
                SeriesInstanceUID = series,
                TransferSyntaxUID = TransferSyntaxes.JPEGBaseline8Bit,
                Destinations = ["server"],
                Pieces = [new StoredPiece(null, name, 0, encoded.Length)],
            };
        }

        return objects;
    }
}
