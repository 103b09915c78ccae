using System.Diagnostics;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Benchmarks;

/// <summary>How much of a link of 2 Mbit/s stills of 100 KB use at 50, 200 and 600 ms round trip: ours over as many associations as a destination has by default, dcmtk's storescu beside it.</summary>
internal static class LinksBenchmark
{
    private const double BitsPerSecond = 2_000_000;
    private const int Count = 80;

    public static async Task<int> RunAsync(string[] args)
    {
        int associations = OnceProgram.Option(args, "--associations") is { } text ? int.Parse(text, CultureInfo.InvariantCulture) : new DestinationConfiguration().Associations;
        string folder = Directory.CreateTempSubdirectory("camerabridge-links-").FullName;
        try
        {
            StoreRequest[] objects = await Sending.MakeAsync(folder, Count);
            long bytes = objects.Sum(one => one.DataSet.Length);
            await using PeerProcess storescp = await PeerProcess.StartAsync("storescp", port => ["--ignore", "+xa", "-aet", "PEERSTORE", "--max-pdu", "131072", "--fork", $"{port}"], Sending.Tuned);
            Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{Count} objects, {bytes / 1e6:0.0} MB, over {BitsPerSecond / 1e6:0} Mbit/s; ours over {associations} associations"));
            Console.WriteLine("round trip  sender      seconds  of the link");
            foreach (int milliseconds in (int[])[50, 200, 600])
            {
                await PrintAsync(milliseconds, "storescu", bytes, storescp.Port, port => Sending.StorescuAsync(port, Sending.Tuned, ["--max-send-pdu", "131072", .. Directory.GetFiles(folder)]));
                await PrintAsync(milliseconds, "ours", bytes, storescp.Port, port => OursAsync(port, objects, associations));
            }

            return 0;
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private static async Task PrintAsync(int milliseconds, string sender, long bytes, int port, Func<int, Task<double>> send)
    {
        await using SlowLink link = new(port, BitsPerSecond, TimeSpan.FromMilliseconds(milliseconds));
        double seconds = await send(link.Port);
        Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{milliseconds,7} ms  {sender,-10}{seconds,9:0.0}  {bytes * 8 / BitsPerSecond / seconds,10:0.0 %}"));
    }

    private static async Task<double> OursAsync(int port, StoreRequest[] objects, int associations)
    {
        Stopwatch watch = Stopwatch.StartNew();
        int next = -1;
        await Task.WhenAll(Enumerable.Range(0, associations).Select(async _ =>
        {
            await using Association association = await Association.RequestAsync(new AssociationOptions
            {
                Host = "127.0.0.1",
                Port = port,
                CallingAETitle = "CAMERABRIDGE",
                CalledAETitle = "PEERSTORE",
                Contexts = [new ContextProposal(SopClasses.VLPhotographicImageStorage, TransferSyntaxes.JPEGBaseline8Bit)],
            });
            StoreUser user = new(association);
            while (Interlocked.Increment(ref next) is var index && index < objects.Length)
            {
                DimseReply reply = await user.StoreAsync(objects[index]);
                if (!reply.IsDone)
                {
                    throw new InvalidOperationException(reply.ToString());
                }
            }

            await association.ReleaseAsync();
        }));
        return watch.Elapsed.TotalSeconds;
    }
}
