using System.Diagnostics;
using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Benchmarks;

/// <summary>
/// Sending alone: ready-made objects of about 100 KB over one association to dcmtk's <c>storescp --ignore</c>, ours against a tuned storescu,
/// to a tuned and to an untuned receiver, in the same run and in turns.
/// </summary>
internal static class Sending
{
    private const string Photograph = SopClasses.VLPhotographicImageStorage;
    private const int Rounds = 3;

    // dcmtk 3.6.7: without TCP_NODELAY=1 Nagle's algorithm stays on; PDUs of 16 KiB unless told otherwise.
    public static readonly Dictionary<string, string> Tuned = new() { ["TCP_NODELAY"] = "1", ["TCP_BUFFER_LENGTH"] = "131072" };

    private static readonly Dictionary<string, string> Untuned = new() { ["TCP_NODELAY"] = "0" };

    /// <summary>Runs it.</summary>
    public static async Task<int> RunAsync(string[] args)
    {
        int count = args is ["--count", var text] ? int.Parse(text, CultureInfo.InvariantCulture) : 5000;
        string folder = Directory.CreateTempSubdirectory("camerabridge-sending-").FullName;
        try
        {
            StoreRequest[] objects = await MakeAsync(folder, count);
            Console.WriteLine(string.Create(
                CultureInfo.InvariantCulture, $"{count} objects, {objects.Average(one => one.DataSet.Length) / 1000:0} KB each, one association, best of {Rounds}"));
            Console.WriteLine("receiver   sender               objects  objects/s  times tuned storescu");
            await CompareAsync("tuned", Tuned, ["--max-pdu", "131072"], folder, objects);
            await CompareAsync("untuned", Untuned, [], folder, objects);
            return 0;
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private static async Task CompareAsync(
        string receiver, Dictionary<string, string> environment, string[] options, string folder, StoreRequest[] objects)
    {
        await using PeerProcess storescp = await PeerProcess.StartAsync(
            "storescp", port => ["--ignore", "+xa", "-aet", "PEERSTORE", .. options, $"{port}"], environment);
        // What stalls is measured by a few objects: it would take minutes otherwise.
        string[] files = [.. Directory.GetFiles(folder).Order(StringComparer.Ordinal)];
        string[] few = [.. files.Take(100)];
        string[] theirFiles = receiver == "tuned" ? files : few;
        double theirs = double.MaxValue;
        double ours = double.MaxValue;
        for (int round = 0; round < Rounds; round++)
        {
            theirs = Math.Min(theirs, await StorescuAsync(storescp.Port, Tuned, ["--max-send-pdu", "131072", .. theirFiles]));
            ours = Math.Min(ours, await OursAsync(storescp.Port, objects));
        }

        double naive = await StorescuAsync(storescp.Port, Untuned, few);
        Print(receiver, "storescu, tuned", theirFiles.Length, theirs, theirs / theirFiles.Length);
        Print(receiver, "storescu, untuned", few.Length, naive, theirs / theirFiles.Length);
        Print(receiver, "ours", objects.Length, ours, theirs / theirFiles.Length);
    }

    private static void Print(string receiver, string sender, int count, double seconds, double theirsPerObject) =>
        Console.WriteLine(string.Create(
            CultureInfo.InvariantCulture, $"{receiver,-10} {sender,-20}{count,8} {count / seconds,10:0} {theirsPerObject * count / seconds,22:0.00}"));

    /// <summary>dcmtk's sender with the given files.</summary>
    /// <returns>Seconds.</returns>
    public static async Task<double> StorescuAsync(int port, Dictionary<string, string> environment, IEnumerable<string> rest)
    {
        Stopwatch watch = Stopwatch.StartNew();
        (int code, string said) = await PeerProcess.RunAsync(
            "storescu", ["-R", "-xy", "-aec", "PEERSTORE", "127.0.0.1", $"{port}", .. rest], CancellationToken.None, environment);
        return code == 0 ? watch.Elapsed.TotalSeconds : throw new InvalidOperationException($"storescu: {said}");
    }

    private static async Task<double> OursAsync(int port, StoreRequest[] objects)
    {
        Stopwatch watch = Stopwatch.StartNew();
        await using Association association = await Association.RequestAsync(new AssociationOptions
        {
            Host = "127.0.0.1",
            Port = port,
            CallingAETitle = "CAMERABRIDGE",
            CalledAETitle = "PEERSTORE",
            Contexts = [new ContextProposal(Photograph, TransferSyntaxes.JPEGBaseline8Bit)],
        });
        StoreUser user = new(association);
        foreach (StoreRequest one in objects)
        {
            DimseReply reply = await user.StoreAsync(one);
            if (!reply.IsDone)
            {
                throw new InvalidOperationException(reply.ToString());
            }
        }

        await association.ReleaseAsync();
        return watch.Elapsed.TotalSeconds;
    }

    // Noise in the place of a picture: the receiver looks at nothing but the UIDs. Written once, so that all files are in the page cache.
    /// <summary>Writes ready-made objects of about 100 KB as files.</summary>
    public static async Task<StoreRequest[]> MakeAsync(string folder, int count)
    {
        StoreRequest[] objects = new StoreRequest[count];
        Random random = new(4711);
        for (int i = 0; i < count; i++)
        {
            byte[] noise = new byte[random.Next(80_000, 120_000)];
            random.NextBytes(noise);
            DataSet dataSet = new();
            dataSet.Set(Tags.SOPClassUID, Photograph);
            dataSet.Set(Tags.SOPInstanceUID, Uids.NewFromUuid());
            dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromBytes(noise)])));
            string instance = dataSet.GetString(Tags.SOPInstanceUID)!;
            FileMeta meta = new(Photograph, instance, TransferSyntaxes.JPEGBaseline8Bit);
            PixelSource encoded = ElementWriter.Encode(dataSet, TransferSyntax.JpegBaseline);
            PixelSource file = Part10File.Encode(meta, encoded);
            string path = Path.Combine(folder, string.Create(CultureInfo.InvariantCulture, $"{i:00000}.dcm"));
            await using (FileStream target = File.Create(path))
            await using (Stream source = file.OpenRead())
            {
                await source.CopyToAsync(target);
            }

            objects[i] = new StoreRequest(
                Photograph, instance, TransferSyntaxes.JPEGBaseline8Bit, PixelSource.FromFile(path, file.Length - encoded.Length, encoded.Length));
        }

        return objects;
    }
}
