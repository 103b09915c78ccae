using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Labels;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Peers;
using SkiaSharp;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Labels;

/// <summary>Codes that an independent program draws: zint 2.11 of Debian, by the symbology standards and the GS1 General Specifications.</summary>
public sealed class ForeignCodesTests : IDisposable
{
    private static readonly RareCode[] Both = [RareCode.Pdf417, RareCode.Aztec];

    private readonly string _folder = Directory.CreateTempSubdirectory("camerabridge-codes-").FullName;

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    // Identifiers: ISO/IEC 15424; GS1 General Specifications, Figure 7.8.1-1 for C1, d2, Q3. The GSRN is invented under GS1's prefix for examples, its check digit is zint's.
    [Theory]
    [InlineData("GS1_128", "]C1")]
    [InlineData("DATAMATRIX", "]d2")]
    [InlineData("QRCODE", "]Q3")]
    [InlineData("AZTEC", "]z1")]
    public async Task A_GS1_code_gives_its_elements_with_their_separators_and_its_mark(string symbology, string mark)
    {
        byte[] picture = await DrawAsync(symbology, "--gs1", "-d", "[8020]ORDER77[8018]952012345678901233");

        string text = Assert.Single(Read(picture, Both));

        Assert.Equal($"{mark}8020ORDER77{CodeMark.Separator}8018952012345678901233", text);
    }

    [Theory]
    [InlineData("CODE128")]
    [InlineData("DATAMATRIX")]
    [InlineData("QRCODE")]
    public async Task A_plain_code_gives_its_text_alone(string symbology) =>
        Assert.Equal(["PID:4100017"], Read(await DrawAsync(symbology, "-d", "PID:4100017"), []));

    // ISO/IEC 15417, annex A (number from memory): start C is 105, each pair of digits weighs by its place: 105 + 1*40 + 2*00 + 3*20 + 4*00 = 205, modulo 103 is 102, the value of FNC1.
    [Fact]
    public async Task A_check_character_that_looks_like_FNC1_leaves_nothing_behind_the_text() =>
        Assert.Equal(["40002000"], Read(await DrawAsync("CODE128", "-d", "40002000"), []));

    [Theory]
    [InlineData("PDF417", "]L0", RareCode.Pdf417)]
    [InlineData("AZTEC", "]z0", RareCode.Aztec)]
    internal async Task A_rare_code_is_read_only_where_it_is_asked_for(string symbology, string mark, RareCode code)
    {
        byte[] picture = await DrawAsync(symbology, "-d", "PID:4100017");

        Assert.Equal([mark + "PID:4100017"], Read(picture, [code]));
        Assert.Empty(Read(picture, []));
        Assert.Empty(Read(picture, [.. Both.Where(other => other != code)]));
    }

    [Fact]
    public void Photographs_have_no_phantoms_where_the_rare_codes_are_searched_too() =>
        Assert.All(Photographs.All(), path => Assert.Empty(Read(File.ReadAllBytes(path), Both)));

    private static IReadOnlyList<string> Read(byte[] file, IReadOnlyList<RareCode> also)
    {
        using SKData data = SKData.CreateCopy(file);
        return new LabelReader(also).Read(data).Texts;
    }

    /// <summary>A white picture of 1280 by 960 with the code in its middle.</summary>
    private async Task<byte[]> DrawAsync(string symbology, params string[] arguments)
    {
        string path = Path.Combine(_folder, "code.png");
        await OutsideProgram.RunAsync("zint", ["-b", symbology, "-o", path, "--scale=2", "--notext", "--height=40", .. arguments]);
        using var code = SKBitmap.Decode(path);
        using var bitmap = new SKBitmap(1280, 960, SKColorType.Rgba8888, SKAlphaType.Opaque);
        using (var canvas = new SKCanvas(bitmap))
        {
            canvas.Clear(SKColors.White);
            canvas.DrawBitmap(code, (1280 - code.Width) / 2, (960 - code.Height) / 2, new SKSamplingOptions(SKFilterMode.Nearest));
        }

        using SKData jpeg = bitmap.Encode(SKEncodedImageFormat.Jpeg, 85);
        return jpeg.ToArray();
    }
}
