using System.Diagnostics;
using CameraBridge.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>Seeded changes to files: no exception, no long run, no memory that grows with what a length claims.</summary>
public sealed class HostileBitstreamsTests
{
    private const int Cases = 40_000;

    [Fact]
    public void Changed_files_are_read_to_an_answer()
    {
        byte[] exif = [.. "Exif\0\0"u8, .. new TestTiff(true)
            .Main(0x010F, "Invented Optics").Main(0x0112, 1).Exif(0x9003, "2026:02:28 23:59:58").Exif(0x9011, "+01:00").ToBytes()];
        byte[] profile = [.. "ICC_PROFILE\0"u8, 1, 1, .. IccProfileTests.Profile("RGB ", "mntr", "sRGB")];
        List<byte[]> dress = [TestJpeg.Jfif, TestJpeg.Segment(0xE1, exif), TestJpeg.Segment(0xE2, profile), TestJpeg.Adobe(1)];
        byte[][] seeds =
        [
            new TestJpeg { Before = dress }.ToBytes(),
            new TestJpeg { Before = dress, RestartInterval = 2, Columns = 300, Rows = 200 }.ToBytes(),
            new TestJpeg { Components = TestJpeg.Grey, Interleaved = false }.ToBytes(),
            new TestJpeg { FrameMarker = 0xC2, Before = dress }.ToBytes(),
        ];
        var random = new Random(20260228);
        long before = GC.GetAllocatedBytesForCurrentThread();
        var longest = TimeSpan.Zero;
        for (int i = 0; i < Cases; i++)
        {
            byte[] file = Change(seeds[i % seeds.Length], random);
            long start = Stopwatch.GetTimestamp();
            JpegHeader header = JpegHeaderTests.Read(file);
            Exif.Read(header.Exif.Span);
            IccProfile.Assemble(header.IccChunks, out _);
            if (JpegBaseline.Judge(header) is null)
            {
                Assert.InRange(JpegBaseline.Plan(header, "/none").StreamLength, 4, file.Length + 18);
            }

            TimeSpan took = Stopwatch.GetElapsedTime(start);
            longest = took > longest ? took : longest;
        }

        long perCase = (GC.GetAllocatedBytesForCurrentThread() - before) / Cases;
        Assert.InRange(perCase, 0, 100_000);
        Assert.True(longest < TimeSpan.FromSeconds(2), $"one file took {longest}");
    }

    private static byte[] Change(byte[] seed, Random random)
    {
        byte[] file = [.. seed];
        for (int changes = random.Next(1, 6); changes > 0; changes--)
        {
            int at = random.Next(file.Length);
            switch (random.Next(6))
            {
                case 0:
                    file[at] ^= (byte)(1 << random.Next(8));
                    break;
                case 1:
                    file[at] = (byte)random.Next(256);
                    break;
                case 2:
                    file = file[..Math.Max(at, 1)];
                    break;
                case 3:
                    file = [.. file[..at], .. file[random.Next(at + 1)..]];
                    break;
                case 4:
                    file[at] = 0xFF;
                    break;
                default:
                    // A length field: the two bytes behind a marker.
                    int marker = Array.IndexOf(file, (byte)0xFF, at);
                    if (marker >= 0 && marker + 3 < file.Length)
                    {
                        file[marker + 2] = (byte)random.Next(256);
                        file[marker + 3] = (byte)random.Next(256);
                    }

                    break;
            }
        }

        return file;
    }
}
