using System.Diagnostics;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Web;
using CameraBridge.Tests.Peers;
using Xunit;
using static CameraBridge.Tests.Dicom.Web.WebObjects;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>What storing costs in memory. Alone in the process while it runs, since it counts all that is allocated.</summary>
[Collection(nameof(WebMemoryTests))]
public sealed class WebMemoryTests
{
    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public async Task An_answer_of_a_hundred_megabytes_is_left_at_the_limit(bool isLengthTold)
    {
        long written = 0;
        await using var archive = new ScriptedWebPeer(async request =>
        {
            await request.PassOverBodyAsync();
            await request.WriteAsync(isLengthTold ? "HTTP/1.1 200 OK\r\nContent-Length: 100000000\r\n\r\n" : "HTTP/1.1 200 OK\r\nConnection: close\r\n\r\n");
            byte[] blanks = [.. Enumerable.Repeat((byte)' ', 1_000_000)];
            for (; written < 100_000_000; written += blanks.Length)
            {
                await request.WriteAsync(blanks);
            }

            request.Close();
        });

        long before = GC.GetTotalAllocatedBytes(precise: true);
        StowReply reply = await StoreAsync(archive, [Instance("2.25.1")], new WebLimits { MaxAnswerBytes = 1_000_000 });

        Assert.Equal(StowVerdict.Unknown, reply["2.25.1"].Verdict);
        Assert.InRange(GC.GetTotalAllocatedBytes(precise: true) - before, 0, 24_000_000);
        Assert.InRange(written, 0, 20_000_000);
    }

    [Fact]
    public async Task Two_hundred_megabytes_go_from_a_file_in_bounded_memory()
    {
        const int Pictures = 20;
        const int PictureBytes = 10 * 1024 * 1024;
        string path = Path.GetTempFileName();
        try
        {
            await File.WriteAllBytesAsync(path, new byte[PictureBytes], Cancellation);
            long received = 0;
            await using var archive = new ScriptedWebPeer(async request =>
            {
                received += await request.PassOverBodyAsync();
                await request.AnswerAsync(200, Stored([.. Enumerable.Range(1, Pictures).Select(i => $"2.25.{i}")]));
            });
            StowInstance[] batch = [.. Enumerable.Range(1, Pictures).Select(i => Instance($"2.25.{i}", PixelSource.FromFile(path, 0, PictureBytes)))];
            long allocated = GC.GetTotalAllocatedBytes(precise: true);
            long start = Stopwatch.GetTimestamp();

            StowReply reply = await StoreAsync(archive, batch);

            // Both sides run in this process; the peer's own buffers are in the count.
            allocated = GC.GetTotalAllocatedBytes(precise: true) - allocated;
            TestContext.Current.TestOutputHelper?.WriteLine($"{received} bytes in {Stopwatch.GetElapsedTime(start).TotalSeconds:F2} s, {allocated} bytes allocated");
            Assert.InRange(received, (long)Pictures * PictureBytes, ((long)Pictures * PictureBytes) + 100_000);
            Assert.InRange(allocated, 0, 8L * 1024 * 1024);
            Assert.All(reply.Instances, judged => Assert.Equal(StowVerdict.Stored, judged.Verdict));
        }
        finally
        {
            File.Delete(path);
        }
    }

    private static async Task<StowReply> StoreAsync(ScriptedWebPeer archive, StowInstance[] batch, WebLimits? limits = null)
    {
        var peer = new WebPeer("archive test", archive.Root) { Limits = limits ?? WebLimits.Default };
        using HttpClient http = peer.CreateClient();
        return await new StowClient(http, peer).StoreAsync(batch, cancellationToken: Cancellation);
    }
}

/// <summary>Nothing else runs beside these.</summary>
[CollectionDefinition(nameof(WebMemoryTests), DisableParallelization = true)]
public sealed class WebMemoryAlone;
