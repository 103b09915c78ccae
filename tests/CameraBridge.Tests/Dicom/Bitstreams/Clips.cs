using System.Text.Json;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>Clips as tests/peers/make_clips.sh draws them: in CAMERABRIDGE_CLIPS, or in artifacts/peers/clips. And ffprobe, which knows nothing of the product.</summary>
internal static class Clips
{
    public static string Folder =>
        Environment.GetEnvironmentVariable("CAMERABRIDGE_CLIPS") is { Length: > 0 } folder ? folder : Path.Combine(Repository.Root, "artifacts/peers/clips");

    /// <summary>A clip, or the test is skipped with the command that draws it.</summary>
    public static string PathOf(string name)
    {
        string path = Path.Combine(Folder, name);
        OutsideProgram.RequireThat(File.Exists(path), $"the clip {path} (tests/peers/make_clips.sh {Folder})");
        return path;
    }

    /// <summary>What ffprobe says of a clip's first track of pictures, its sound tracks and its container.</summary>
    public static async Task<(JsonElement Video, IReadOnlyList<JsonElement> Sounds)> ProbeAsync(string path)
    {
        string json = await OutsideProgram.RunAsync("ffprobe", "-v", "error", "-count_packets", "-show_streams", "-show_format", "-of", "json", path);
        JsonElement[] streams = [.. JsonDocument.Parse(json).RootElement.GetProperty("streams").EnumerateArray()];
        return (streams.First(stream => Kind(stream) == "video"), [.. streams.Where(stream => Kind(stream) == "audio")]);
    }

    /// <summary>Check values of every decoded picture, as ffmpeg has them.</summary>
    public static async Task<string> PicturesAsync(string path) => string.Join('\n', (await OutsideProgram.RunAsync(
        "ffmpeg", "-v", "error", "-noautorotate", "-i", path, "-map", "0:v:0", "-an", "-vsync", "passthrough", "-f", "framemd5", "-")).Split('\n')
        .Where(line => line.Length > 0 && line[0] != '#').Select(line => line[(line.LastIndexOf(',') + 1)..].Trim()));

    private static string Kind(JsonElement stream) => stream.GetProperty("codec_type").GetString()!;
}
