using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using Xunit;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>Multipart bodies: RFC 2046 section 5.1 and appendix A, RFC 2387.</summary>
public sealed class MultipartTests
{
    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task What_is_written_is_read_again_whatever_the_parts_hold_and_however_the_stream_is_cut()
    {
        var random = new Random(20261125);
        for (int round = 0; round < 200; round++)
        {
            byte[][] contents = [.. Enumerable.Range(0, random.Next(1, 6)).Select(_ => Content(random))];
            using var body = new MultipartBody("application/dicom", [.. contents.Select(bytes => new MultipartBodyPart("application/dicom", PixelSource.FromBytes(bytes)))]);
            byte[] written = await body.ReadAsByteArrayAsync(Cancellation);

            await using var crumbs = new Crumbs(written, random);
            List<byte[]> read = [.. (await ReadAsync(crumbs, body.Boundary)).Select(part => part.Content)];

            Assert.Equal(written.Length, body.Headers.ContentLength);
            Assert.Equal(contents, read);
        }
    }

    [Fact]
    public void The_boundary_is_of_160_random_bits_and_both_parameters_are_quoted()
    {
        using var first = new MultipartBody("application/dicom", new MultipartBodyPart("application/dicom", PixelSource.Empty));
        using var second = new MultipartBody("application/dicom", new MultipartBodyPart("application/dicom", PixelSource.Empty));

        Assert.Equal(40, first.Boundary.Length);
        Assert.NotEqual(first.Boundary, second.Boundary);
        Assert.Equal($"multipart/related; type=\"application/dicom\"; boundary=\"{first.Boundary}\"", first.Headers.ContentType!.ToString());
        Assert.Throws<ArgumentException>(() => new MultipartBody("application/dicom", new MultipartBodyPart("a/b\r\nEvil: 1", PixelSource.Empty)));
    }

    [Fact]
    public async Task The_example_of_rfc_2046_is_read_with_its_preamble_and_epilogue()
    {
        // RFC 2046 section 5.1.1: a preamble, a part without head, one with, an epilogue.
        const string Example = "This is the preamble.  It is to be ignored\r\n\r\n--simple boundary\r\n\r\nThis is implicitly typed plain US-ASCII text.\r\nIt does NOT end with a linebreak."
            + "\r\n--simple boundary  \t\r\nContent-type: text/plain; charset=us-ascii\r\n\r\nThis is explicitly typed plain US-ASCII text.\r\nIt DOES end with a linebreak.\r\n"
            + "\r\n--simple boundary--\r\n\r\nThis is the epilogue.  It is also to be ignored.";

        List<(MultipartPart Part, byte[] Content)> parts = await ReadAsync(new MemoryStream(Encoding.ASCII.GetBytes(Example)), "simple boundary");

        Assert.Equal(
            ["This is implicitly typed plain US-ASCII text.\r\nIt does NOT end with a linebreak.", "This is explicitly typed plain US-ASCII text.\r\nIt DOES end with a linebreak.\r\n"],
            parts.Select(part => Encoding.ASCII.GetString(part.Content)));
        Assert.Equal(["", "text/plain"], parts.Select(part => part.Part.MediaType));
    }

    [Theory]
    [InlineData("")]
    [InlineData("nothing of the kind")]
    [InlineData("--b")]
    [InlineData("--b\r\n")]
    [InlineData("--b\r\nContent-Type: x/y\r\n")]
    [InlineData("--b\r\n\r\nabc")]
    [InlineData("--b\r\n\r\nabc\r\n--b")]
    [InlineData("--b\r\n\r\nabc\r\n--b\r\n")]
    [InlineData("--b\r\nno colon\r\n\r\nabc\r\n--b--")]
    [InlineData("--bx\r\n\r\nabc\r\n--b--extra--b\r\n\r\n")]
    public async Task A_body_that_is_torn_or_none_is_refused(string body) =>
        // A longer boundary that begins like ours (RFC 2046 section 5.1.2) is none of ours: something follows it on its line.
        await Assert.ThrowsAsync<MalformedException>(() => ReadAsync(new MemoryStream(Encoding.ASCII.GetBytes(body)), "b"));

    [Fact]
    public async Task An_endless_head_ends_at_its_limit()
    {
        byte[] endless = [.. "--b\r\nX: "u8, .. Enumerable.Repeat((byte)'x', 1_000_000)];
        byte[] manyLines = [.. "--b\r\n"u8, .. Encoding.ASCII.GetBytes(string.Concat(Enumerable.Range(0, 100_000).Select(i => $"X{i}: y\r\n")))];

        await Assert.ThrowsAsync<MalformedException>(() => ReadAsync(new MemoryStream(endless), "b"));
        await Assert.ThrowsAsync<MalformedException>(() => ReadAsync(new MemoryStream(manyLines), "b"));
    }

    [Fact]
    public async Task Twenty_thousand_damaged_bodies_are_read_or_refused()
    {
        using var body = new MultipartBody(
            "application/dicom",
            new MultipartBodyPart("application/dicom", PixelSource.FromBytes("first\r\n--not the boundary\r\n"u8.ToArray())),
            new MultipartBodyPart("image/jpeg; transfer-syntax=1.2.840.10008.1.2.4.50", PixelSource.FromBytes(new byte[300]), "bulk/1"));
        byte[] original = await body.ReadAsByteArrayAsync(Cancellation);
        var random = new Random(4711);
        int read = 0;
        for (int number = 0; number < 20_000; number++)
        {
            long before = GC.GetAllocatedBytesForCurrentThread();
            try
            {
                // A memory stream is always ready, so all of it happens on this thread.
                await ReadAsync(new MemoryStream(Damage.Do(original, random)), body.Boundary);
                read++;
            }
            catch (MalformedException)
            {
                // What the reader says of a torn body.
            }

            Assert.InRange(GC.GetAllocatedBytesForCurrentThread() - before, 0, 400_000);
        }

        Assert.InRange(read, 1_000, 19_000);
    }

    private static async Task<List<(MultipartPart Part, byte[] Content)>> ReadAsync(Stream stream, string boundary)
    {
        var parts = new List<(MultipartPart, byte[])>();
        var reader = new MultipartReader(stream, boundary);
        while (await reader.ReadNextAsync(Cancellation) is { } part)
        {
            using var bytes = new MemoryStream();
            await part.Body.CopyToAsync(bytes, Cancellation);
            parts.Add((part, bytes.ToArray()));
        }

        return parts;
    }

    /// <summary>Bytes that look like boundaries and line ends, to be mistaken.</summary>
    private static byte[] Content(Random random)
    {
        byte[] content = new byte[random.Next(3) == 0 ? random.Next(200_000) : random.Next(50)];
        for (int i = 0; i < content.Length; i++)
        {
            content[i] = (byte)"\r\n-a0"[random.Next(5)];
        }

        return content;
    }

    /// <summary>Gives few bytes at a time.</summary>
    private sealed class Crumbs(byte[] bytes, Random random) : MemoryStream(bytes)
    {
        public override ValueTask<int> ReadAsync(Memory<byte> buffer, CancellationToken cancellationToken = default) =>
            base.ReadAsync(buffer[..Math.Min(buffer.Length, random.Next(1, random.Next(2) == 0 ? 10 : 60_000))], cancellationToken);
    }
}
