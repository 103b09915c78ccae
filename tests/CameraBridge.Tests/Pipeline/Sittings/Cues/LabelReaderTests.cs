using CameraBridge.Pipeline.Sittings.Cues;
using SkiaSharp;
using Xunit;
using ZXing;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues;

/// <summary>
/// Label shots drawn from seeds. What must be read is what a careful clinician makes; how many of the hard ones are read is held so that a
/// change of the search cannot lose them unseen. No source: rendered scenes, measured here.
/// </summary>
public sealed class LabelReaderTests
{
    [Theory]
    [InlineData(BarcodeFormat.QR_CODE, "PID=1000001^HOSPITAL^12345678")]
    [InlineData(BarcodeFormat.CODE_128, "P100000007")]
    [InlineData(BarcodeFormat.DATA_MATRIX, "PID1000003")]
    public void An_easy_label_is_read_at_every_picture_size(BarcodeFormat format, string text)
    {
        foreach ((int width, int height) in new[] { (640, 480), (1280, 960), (1920, 1080), (4000, 3000) })
        {
            LabelReading reading = Read(LabelScenes.Label(1, format, text, Difficulty.Easy, width, height));

            Assert.Equal(text, Assert.Single(reading.Codes).Text);
            Assert.True(reading.Whole);
        }
    }

    [Theory]
    [InlineData(SKEncodedImageFormat.Png)]
    [InlineData(SKEncodedImageFormat.Webp)]
    public void A_label_is_read_in_other_formats_that_are_filed(SKEncodedImageFormat format)
    {
        using SKBitmap picture = SKBitmap.Decode(LabelScenes.Label(1, BarcodeFormat.QR_CODE, "P100000007", Difficulty.Easy, 1280, 960));
        using SKData encoded = picture.Encode(format, 100);

        LabelReading reading = Read(encoded.ToArray());

        Assert.Equal(["P100000007"], reading.Texts);
        Assert.True(reading.Whole);
    }

    [Fact]
    public void A_label_is_read_in_a_bitmap_file()
    {
        using SKBitmap picture = SKBitmap.Decode(LabelScenes.Label(1, BarcodeFormat.QR_CODE, "P100000007", Difficulty.Easy, 640, 480));
        using SKBitmap rgba = picture.Copy(SKColorType.Bgra8888);
        // BITMAPFILEHEADER and BITMAPINFOHEADER: 640 by 480, top row last unless the height is negative, 32 bits, no compression.
        using var file = new MemoryStream();
        using (var writer = new BinaryWriter(file, System.Text.Encoding.ASCII, leaveOpen: true))
        {
            writer.Write("BM"u8);
            writer.Write(54 + rgba.ByteCount);
            writer.Write(0);
            writer.Write(54);
            writer.Write(40);
            writer.Write(640);
            writer.Write(-480);
            writer.Write((short)1);
            writer.Write((short)32);
            writer.Write(new byte[24]);
            writer.Write(rgba.Bytes);
        }

        Assert.Equal(["P100000007"], Read(file.ToArray()).Texts);
    }

    [Theory]
    [InlineData(BarcodeFormat.QR_CODE, BarcodeFormat.QR_CODE)]
    [InlineData(BarcodeFormat.QR_CODE, BarcodeFormat.CODE_128)]
    [InlineData(BarcodeFormat.CODE_128, BarcodeFormat.CODE_128)]
    [InlineData(BarcodeFormat.DATA_MATRIX, BarcodeFormat.QR_CODE)]
    public void Two_labels_in_one_picture_are_both_seen(BarcodeFormat first, BarcodeFormat second)
    {
        for (int seed = 0; seed < 3; seed++)
        {
            LabelReading reading = Read(LabelScenes.TwoLabels(seed, first, "PA000001", second, "PB000002", 1920, 1080));

            Assert.Equal(["PA000001", "PB000002"], reading.Texts);
            Assert.Equal(2, reading.Codes.Count);
        }
    }

    [Fact]
    public void A_label_that_lies_far_off_in_a_large_picture_is_read_in_full_size()
    {
        int read = 0;
        for (int seed = 0; seed < 4; seed++)
        {
            read += Read(LabelScenes.Label(seed, BarcodeFormat.DATA_MATRIX, "P100000007", Difficulty.Far, 4000, 3000)).Texts.Count;
        }

        Assert.True(read >= 3, $"{read} of 4 were read.");
    }

    [Theory]
    [InlineData(BarcodeFormat.QR_CODE, Difficulty.Medium, 9)]
    [InlineData(BarcodeFormat.QR_CODE, Difficulty.Hard, 9)]
    [InlineData(BarcodeFormat.CODE_128, Difficulty.Medium, 9)]
    [InlineData(BarcodeFormat.CODE_128, Difficulty.Hard, 8)]
    [InlineData(BarcodeFormat.DATA_MATRIX, Difficulty.Medium, 9)]
    [InlineData(BarcodeFormat.DATA_MATRIX, Difficulty.Hard, 8)]
    public void So_many_of_ten_hard_labels_are_read_and_none_wrongly(BarcodeFormat format, Difficulty difficulty, int atLeast)
    {
        int read = 0;
        for (int seed = 0; seed < 10; seed++)
        {
            string text = $"P10000{seed:0000}";
            LabelReading reading = Read(LabelScenes.Label(seed, format, text, difficulty, 1280, 960));
            Assert.All(reading.Texts, found => Assert.Equal(text, found));
            read += reading.Texts.Count;
        }

        Assert.True(read >= atLeast, $"{read} of 10 were read.");
    }

    [Fact]
    public void Clinical_scenes_have_no_phantoms()
    {
        for (int kind = 0; kind < 6; kind++)
        {
            for (int seed = 0; seed < 3; seed++)
            {
                LabelReading reading = Read(LabelScenes.WithoutCode(seed, kind, 1280, 960));
                Assert.Empty(reading.Texts);
                Assert.True(reading.Whole);
            }
        }
    }

    [Fact]
    public void A_torn_picture_is_not_whole_and_foreign_bytes_are_no_picture()
    {
        byte[] file = LabelScenes.WithoutCode(1, 0, 1280, 960);

        Assert.False(Read(file[..(file.Length / 2)]).Whole);
        Assert.False(Read(file[..100]).Whole);
        Assert.False(Read("no picture at all"u8.ToArray()).Whole);
        Assert.Empty(Read(file[..(file.Length / 2)]).Texts);
    }

    [Fact]
    public void A_tiny_picture_is_looked_at_without_harm()
    {
        using var bitmap = new SKBitmap(3, 1);
        using SKData data = bitmap.Encode(SKEncodedImageFormat.Jpeg, 75);

        Assert.True(Read(data.ToArray()).Whole);
    }

    private static LabelReading Read(byte[] file)
    {
        using SKData data = SKData.CreateCopy(file);
        return new LabelReader().Read(data);
    }
}
