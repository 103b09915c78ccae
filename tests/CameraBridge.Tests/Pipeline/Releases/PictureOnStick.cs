using System.Security.Cryptography;
using CameraBridge.Configuration;
using CameraBridge.Pipeline;
using CameraBridge.Tests.Persistence;

namespace CameraBridge.Tests.Pipeline.Releases;

/// <summary>One picture on a stick, which was taken and is on its way to archives.</summary>
public abstract class PictureOnStick : StageTests
{
    protected static byte[] Picture { get; } = [0xFF, 0xD8, 1, 2, 3, 0xFF, 0xD9];

    protected string Mounts => Path.Combine(Folder, "mounts");

    protected string Stick => Path.Combine(Mounts, "stick");

    /// <summary>Where the picture lies.</summary>
    protected string Taken => Path.Combine(Stick, "1", "a.jpg");

    /// <returns>The stick, with nothing said of what is to happen to it.</returns>
    private protected async Task<SourceConfiguration> TakeAsync(params string[] destinations)
    {
        Directory.CreateDirectory(Path.GetDirectoryName(Taken)!);
        File.WriteAllBytes(Taken, Picture);
        await OpenAsync();
        Capture capture = FlowSteps.Capture("1/a.jpg") with
        {
            Size = Picture.Length,
            Sha256 = Convert.ToHexStringLower(SHA256.HashData(Picture)),
            ModifiedAt = File.GetLastWriteTimeUtc(Taken),
        };
        await FlowSteps.QueueAsync(Database, [capture], _ => [new StoredPiece([8, 0, 5, 0], null, 0, 4)], FlowSteps.TransferSyntaxUID, destinations);
        return new SourceConfiguration { Name = "stick", Folder = Stick, ReleaseAfter = TimeSpan.Zero };
    }
}
