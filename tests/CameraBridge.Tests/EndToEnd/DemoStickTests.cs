using System.Buffers.Binary;
using System.Globalization;
using System.Security.Cryptography;
using CameraBridge.Commands;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Commands;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>The whole flow in one process: `once` on the drawn stick, against the practice hospital. What must come of it is the drawer's truth.</summary>
public sealed class DemoStickTests
{
    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task The_clinic_morning_is_filed_and_held_as_it_was_drawn_and_a_second_pass_does_nothing_twice()
    {
        await using DemoStick demo = await DemoStick.CreateAsync(Cancellation);
        string before = demo.Fingerprint();

        (TestTerminal run, OnceReply reply) = await demo.OnceAsync(Cancellation);
        Assert.Equal(3, run.ExitCode);
        Assert.Equal(49, reply.Taken);
        IReadOnlyList<TruthLine> lines = await StickComparison.CompareAsync(demo.Plan.Truth, reply, demo.Archive, Cancellation);
        Assert.DoesNotContain(lines, line => !line.Good);
        Assert.Equal(before, demo.Fingerprint());
        await AssertScansAreTheCamerasAsync(demo);

        (TestTerminal again, OnceReply second) = await demo.OnceAsync(Cancellation);
        Assert.Equal(3, again.ExitCode);
        Assert.Equal((0, 49), (second.Taken, second.Known));
        Assert.Equal(reply.Sittings.Select(sitting => sitting.Sitting), second.Sittings.Select(sitting => sitting.Sitting));
        Assert.All(await StickComparison.CompareAsync(demo.Plan.Truth, second, demo.Archive, Cancellation), line => Assert.True(line.Good));

        await AssignTheUnlabelledAsync(demo, second);
    }

    [Fact]
    public async Task An_archive_that_is_down_leaves_all_of_it_queued_with_exit_code_4_and_the_next_pass_delivers()
    {
        await using DemoStick demo = await DemoStick.CreateAsync(Cancellation);
        int port = demo.ArchivePort;
        demo.ArchivePort = FreePort();

        (TestTerminal run, OnceReply reply) = await demo.OnceAsync(Cancellation, "--patience", "500 ms");
        Assert.Equal(4, run.ExitCode);
        Assert.Equal(21, reply.Sittings.Sum(sitting => sitting.Deliveries.Sum(delivery => delivery.Undelivered)));
        Assert.Contains(reply.Sittings.SelectMany(sitting => sitting.Deliveries), delivery => delivery.Outcome!.Contains("nothing listens there", StringComparison.Ordinal));
        Assert.Empty(Directory.EnumerateFiles(demo.Archive));

        demo.ArchivePort = port;
        (TestTerminal again, OnceReply second) = await demo.OnceAsync(Cancellation);
        Assert.Equal(3, again.ExitCode);
        Assert.All(await StickComparison.CompareAsync(demo.Plan.Truth, second, demo.Archive, Cancellation), line => Assert.True(line.Good));
    }

    /// <summary>Folder 0005 has no label; a person knows whose throat it is. Folder 0007 shows two patients, and a person must say why it is right.</summary>
    private static async Task AssignTheUnlabelledAsync(DemoStick demo, OnceReply reply)
    {
        string unlabelled = Number(reply, "0005");
        string twoPatients = Number(reply, "0007");
        TestTerminal refused = await demo.HeldAsync(Cancellation, "assign", twoPatients, "--accession", demo.Plan.Orders[6].AccessionNumber, "--by", "R. Example");
        Assert.Equal(3, refused.ExitCode);
        Assert.Contains("--against-evidence", refused.Error, StringComparison.Ordinal);

        TestTerminal assigned = await demo.HeldAsync(Cancellation, "assign", unlabelled, "--accession", demo.Plan.Orders[6].AccessionNumber, "--by", "R. Example");
        Assert.Equal("", assigned.Error);
        Assert.Equal(0, assigned.ExitCode);

        (_, OnceReply third) = await demo.OnceAsync(Cancellation);
        SittingReply filed = third.Sittings.Single(sitting => sitting.Folder == "0005");
        Assert.Equal(("R. Example", 3, 3), (filed.DecidedBy, filed.Pictures, filed.Deliveries.Single().Delivered));
        Assert.Equal(24, Directory.EnumerateFiles(demo.Archive, "*.dcm").Count());
    }

    /// <summary>From SOS to EOI, every received picture is byte for byte one of the camera's (ITU-T T.81 B.2.3; no byte of the entropy-coded scan may change).</summary>
    private static async Task AssertScansAreTheCamerasAsync(DemoStick demo)
    {
        HashSet<string> scans = [.. Directory.EnumerateFiles(demo.Stick, "*.JPG", SearchOption.AllDirectories).Select(path => ScanHash(File.ReadAllBytes(path)))];
        foreach (string path in Directory.EnumerateFiles(demo.Archive, "*.dcm"))
        {
            Part10File file = await Part10File.OpenAsync(path, cancellationToken: Cancellation);
            PixelSource pixels = Assert.Single(file.DataSet[Tags.PixelData]!.Encapsulated!.Fragments);
            using MemoryStream jpeg = new();
            await using (Stream stream = pixels.OpenRead())
            {
                await stream.CopyToAsync(jpeg, Cancellation);
            }

            Assert.Contains(ScanHash(jpeg.ToArray()), scans);
        }
    }

    private static string ScanHash(byte[] jpeg)
    {
        int at = 2;
        while (jpeg[at + 1] != 0xDA)
        {
            at += 2 + BinaryPrimitives.ReadUInt16BigEndian(jpeg.AsSpan(at + 2));
        }

        // A pad byte may follow EOI in the object (PS3.5 2025e section A.4), and the torn file has no EOI at all.
        ReadOnlySpan<byte> scan = jpeg.AsSpan(at);
        int end = scan.LastIndexOf((ReadOnlySpan<byte>)[0xFF, 0xD9]);
        return Convert.ToHexString(SHA256.HashData(end < 0 ? scan : scan[..end]));
    }

    private static string Number(OnceReply reply, string folder) =>
        reply.Sittings.Single(sitting => sitting.Folder == folder).Sitting.ToString(CultureInfo.InvariantCulture);

    private static int FreePort()
    {
        using System.Net.Sockets.TcpListener listener = new(System.Net.IPAddress.Loopback, 0);
        listener.Start();
        return ((System.Net.IPEndPoint)listener.LocalEndpoint).Port;
    }
}
