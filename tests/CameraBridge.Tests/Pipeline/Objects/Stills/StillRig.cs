using System.Text.Json;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Stills;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects.Stills;

/// <summary>A spool, the preparation of stills on it, and Pillow to judge by.</summary>
internal sealed class StillRig : IDisposable
{
    private static readonly string Pillow = Path.Combine(Repository.Root, "tests/peers/pillow.py");

    private readonly DirectoryInfo folder = Directory.CreateTempSubdirectory("stills-");
    private readonly DerivedFiles derivedFiles;

    public StillRig()
    {
        OutsideProgram.Require(OutsideProgram.Python);
        derivedFiles = new DerivedFiles(Spool);
        Preparation = new StillPreparation(derivedFiles);
    }

    public string Spool => Path.Combine(folder.FullName, "spool");

    public StillPreparation Preparation { get; }

    public void Dispose()
    {
        derivedFiles.Dispose();
        folder.Delete(recursive: true);
    }

    public string Write(string name, byte[] bytes)
    {
        string path = Path.Combine(folder.FullName, name);
        File.WriteAllBytes(path, bytes);
        return path;
    }

    /// <summary>Draws Pillow's pictures; the folder they are in.</summary>
    public async Task<string> DrawAsync()
    {
        string drawn = folder.CreateSubdirectory("drawn").FullName;
        await OutsideProgram.RunAsync(OutsideProgram.Python, Pillow, "draw", drawn);
        return drawn;
    }

    /// <summary>A file whose Exif gives the orientation, its JPEG stream being another file's.</summary>
    public string Turned(string jpeg, int orientation)
    {
        byte[] bytes = File.ReadAllBytes(jpeg);
        byte[] exif = TestJpeg.Segment(0xE1, [.. "Exif\0\0"u8, .. new TestTiff(true).Main(0x0112, orientation).ToBytes()]);
        return Write($"turned-{orientation}-{Path.GetFileName(jpeg)}", [.. bytes[..2], .. exif, .. bytes[2..]]);
    }

    public ContentOutcome Prepare(string path) => Preparation.Prepare(path, JpegHeader.ReadFile(path), TestContext.Current.CancellationToken);

    /// <summary>The content, or the test fails with the reason why it is held.</summary>
    public StillContent Make(string path) => Prepare(path) switch
    {
        ContentOutcome.Made { Content: StillContent content } => content,
        ContentOutcome.Held held => throw new Xunit.Sdk.XunitException($"{path} is held: {held.Reason.Words}"),
        _ => throw new Xunit.Sdk.XunitException("no still"),
    };

    /// <summary>The code of the reason, or the test fails since the picture is not held.</summary>
    public string HoldCode(string path) => Assert.IsType<ContentOutcome.Held>(Prepare(path)).Reason.Code;

    public static byte[] Bytes(PixelSource source)
    {
        using Stream stream = source.OpenRead();
        using var bytes = new MemoryStream();
        stream.CopyTo(bytes);
        return bytes.ToArray();
    }

    /// <summary>What Pillow says of a file, upright.</summary>
    public static async Task<(int Columns, int Rows, string Mode, string Sha256)> PillowAsync(string path)
    {
        JsonElement facts = JsonElement.Parse(await OutsideProgram.RunAsync(OutsideProgram.Python, Pillow, "pixels", path));
        return (facts.GetProperty("columns").GetInt32(), facts.GetProperty("rows").GetInt32(), facts.GetProperty("mode").GetString()!, facts.GetProperty("sha256").GetString()!);
    }

    /// <summary>Mean and greatest difference of samples; null where the sizes differ.</summary>
    public static async Task<(double Mean, int Greatest)?> CompareAsync(string one, string other)
    {
        JsonElement facts = JsonElement.Parse(await OutsideProgram.RunAsync(OutsideProgram.Python, Pillow, "compare", one, other));
        return facts.GetProperty("same").GetBoolean() ? (facts.GetProperty("mean").GetDouble(), facts.GetProperty("greatest").GetInt32()) : null;
    }

    /// <summary>Files in the spool but for the lock.</summary>
    public IReadOnlyList<string> Spooled() => Directory.Exists(Spool)
        ? [.. Directory.EnumerateFiles(Spool, "*", SearchOption.AllDirectories).Where(file => Path.GetFileName(file) != "lock")]
        : [];
}
