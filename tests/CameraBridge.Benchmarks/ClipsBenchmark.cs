using System.Buffers.Binary;
using System.Diagnostics;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Clips;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Benchmarks;

/// <summary>
/// A clip of 4 GB: judged, wrapped and written as a Part 10 file, against a plain copy of the same bytes in the same run and in turns; then sent to dcmtk's
/// <c>storescp --ignore</c>, with the peak memory of it all; and through the whole program, from folder to archive, with the program's.
/// </summary>
internal static class ClipsBenchmark
{
    private const uint Samples = 36_000;
    private const uint SampleLength = 119_000;
    private const int Rounds = 3;
    private const int BufferLength = 1 << 20;
    private const long MostMemory = 150_000_000;

    /// <summary>Runs it.</summary>
    public static async Task<int> RunAsync(string[] args)
    {
        string folder = Directory.CreateDirectory(Path.Combine(OnceProgram.Option(args, "--folder") ?? Path.GetTempPath(), $"camerabridge-clips-{Guid.NewGuid():N}")).FullName;
        try
        {
            string clip = Path.Combine(folder, "clip");
            Draw(clip);
            long length = new FileInfo(clip).Length;
            (double copying, double wrapping) = (double.MaxValue, double.MaxValue);
            for (int round = 0; round < Rounds; round++)
            {
                copying = Math.Min(copying, Timed(() => Write(PixelSource.FromFile(clip, 0, length), Path.Combine(folder, "copy"))));
                wrapping = Math.Min(wrapping, Timed(() => Write(Wrap(clip, folder, out _), Path.Combine(folder, "object"))));
            }

            Say($"{length / 1e9:0.00} GB, {Samples} pictures; best of {Rounds}");
            Say($"copy          {length / copying / 1e6,8:0} MB/s");
            Say($"judge + wrap  {length / wrapping / 1e6,8:0} MB/s   {wrapping / copying:0.00} times the copy");
            File.Delete(Path.Combine(folder, "copy"));
            File.Delete(Path.Combine(folder, "object"));
            double sending = await SendAsync(clip, folder);
            Say($"to storescp   {length / sending / 1e6,8:0} MB/s");
            Say($"peak memory   {PeakMemory() / 1e6,8:0} MB");
            File.Delete(Path.Combine(folder, "object"));
            (double seconds, _, long peak) = await FlowAsync(OnceProgram.Option(args, "--program") ?? OnceProgram.Built, clip, folder);
            Say($"whole flow    {length / seconds / 1e6,8:0} MB/s   from folder to storescp, peak memory {peak / 1e6:0} MB");
            return wrapping / copying < 1.2 && peak < MostMemory ? 0 : 1;
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    /// <summary>An MP4 file whose samples are noise, with its index behind: nothing decodes it, and every byte of it has to be moved.</summary>
    private static void Draw(string path)
    {
        byte[] noise = new byte[SampleLength];
        new Random(4711).NextBytes(noise);
        // One parameter set may stand before a slice; noise that begins with a slice says nothing of itself.
        BinaryPrimitives.WriteUInt32BigEndian(noise, SampleLength - 4);
        noise[4] = 0x65;
        byte[] type = TestMp4.FileType();
        using FileStream file = new(path, FileMode.CreateNew, FileAccess.Write, FileShare.None, BufferLength);
        file.Write(type);
        file.Write(TestMp4.LargeBox("mdat", 16 + ((long)Samples * SampleLength)));
        for (uint i = 0; i < Samples; i++)
        {
            BinaryPrimitives.WriteUInt32BigEndian(noise.AsSpan(8), i);
            file.Write(noise);
        }

        file.Write(TestMp4.Index(Samples, SampleLength, (ulong)(type.Length + 16)));
    }

    private static PixelSource Wrap(string clip, string folder, out string SOPInstanceUID)
    {
        using var derived = new DerivedFiles(Path.Combine(folder, "spool"));
        using var preparation = new ClipPreparation(new ClipConfiguration(), derived, null, mayBeFragmentable: true);
        Content content = preparation.Prepare(clip, CancellationToken.None) is ContentOutcome.Made made ? made.Content : throw new InvalidOperationException("The clip is held.");
        SOPInstanceUID = Uids.NewFromUuid();
        DataSet dataSet = new();
        dataSet.Set(Tags.SOPClassUID, SopClasses.VideoPhotographicImageStorage);
        dataSet.Set(Tags.SOPInstanceUID, SOPInstanceUID);
        dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, content.Fragments)));
        PixelSource encoded = ElementWriter.Encode(dataSet, TransferSyntax.Find(content.TransferSyntaxUID)!);
        return Part10File.Encode(new FileMeta(SopClasses.VideoPhotographicImageStorage, SOPInstanceUID, content.TransferSyntaxUID), encoded);
    }

    private static void Write(PixelSource source, string path)
    {
        using Stream from = source.OpenRead();
        using FileStream to = new(path, FileMode.Create, FileAccess.Write, FileShare.None, bufferSize: 0);
        from.CopyTo(to, BufferLength);
        to.Flush(flushToDisk: true);
    }

    private static async Task<double> SendAsync(string clip, string folder)
    {
        await using PeerProcess storescp = await PeerProcess.StartAsync(
            "storescp", port => ["--ignore", "+xa", "--max-pdu", "131072", "-aet", "PEERSTORE", $"{port}"], Sending.Tuned);
        string path = Path.Combine(folder, "object");
        Write(Wrap(clip, folder, out string SOPInstanceUID), path);
        Part10File file = await Part10File.OpenAsync(path);
        Stopwatch watch = Stopwatch.StartNew();
        await using Association association = await Association.RequestAsync(new AssociationOptions
        {
            Host = "127.0.0.1",
            Port = storescp.Port,
            CallingAETitle = "CAMERABRIDGE",
            CalledAETitle = "PEERSTORE",
            Contexts = [new ContextProposal(SopClasses.VideoPhotographicImageStorage, TransferSyntaxes.MPEG4HP41)],
        });
        DimseReply reply = await new StoreUser(association).StoreAsync(new StoreRequest(
            SopClasses.VideoPhotographicImageStorage, SOPInstanceUID, TransferSyntaxes.MPEG4HP41, file.EncodedDataSet));
        if (!reply.IsDone)
        {
            throw new InvalidOperationException(reply.ToString());
        }

        await association.ReleaseAsync();
        return watch.Elapsed.TotalSeconds;
    }

    private static async Task<(double Seconds, double Processor, long PeakBytes)> FlowAsync(string program, string clip, string folder)
    {
        string stick = Path.Combine(folder, "stick");
        DateOnly day = DateOnly.FromDateTime(TimeProvider.System.GetLocalNow().DateTime);
        StickPlan plan = StickPlan.Many(day, folders: 1, pictures: 1);
        StickDrawer.Draw(plan, stick, seed: 5, day, TimeZoneInfo.Utc);
        File.Move(clip, Path.Combine(stick, plan.Folders[0].Name, "CLIP_0001.MP4"));
        string orders = Path.Combine(folder, "orders.yaml");
        File.WriteAllText(orders, StickOrders.Write(plan.Orders));
        await using PeerProcess storescp = await PeerProcess.StartAsync(
            "storescp", port => ["--ignore", "+xa", "--fork", "--max-pdu", "131072", "-aet", "PEERSTORE", $"{port}"], Sending.Tuned);
        await using PeerProcess hospital = await PeerProcess.StartAsync(program, port =>
            ["practice", "hospital", "--orders", orders, "--archive", Directory.CreateDirectory(Path.Combine(folder, "archive")).FullName, "--port", $"{port}"]);
        return await OnceProgram.RunAsync(program, new SiteFile
        {
            Place = Path.Combine(folder, "run"),
            Folders = [stick],
            Kind = "stick",
            Worklist = hospital.Port,
            Archive = storescp.Port,
            Optic = "ear",
            ReadsLabels = true,
        });
    }

    private static double Timed(Action action)
    {
        Stopwatch watch = Stopwatch.StartNew();
        action();
        return watch.Elapsed.TotalSeconds;
    }

    private static double PeakMemory()
    {
        using var self = Process.GetCurrentProcess();
        return self.PeakWorkingSet64;
    }

    private static void Say(FormattableString line) => Console.WriteLine(line.ToString(CultureInfo.InvariantCulture));
}
