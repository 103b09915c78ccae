using System.Text.Json;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Peers;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>What the outside judges (tests/peers/judge.py: pydicom, GDCM, dciodvfy, Pillow) say of a file.</summary>
internal sealed class Judged(JsonElement facts)
{
    private static readonly string Script = System.IO.Path.Combine(Repository.Root, "tests", "peers", "judge.py");

    public string Path => Text("path");

    public string ScanSha256 => Text("scan_sha256");

    public string Text(string name) => facts.TryGetProperty(name, out JsonElement value) && value.ValueKind != JsonValueKind.Null ? value.ToString() : "";

    public int Number(string name) => facts.TryGetProperty(name, out JsonElement value) && value.ValueKind == JsonValueKind.Number ? value.GetInt32() : 0;

    public bool Flag(string name) => facts.TryGetProperty(name, out JsonElement value) && value.ValueKind == JsonValueKind.True;

    public IReadOnlyList<string> Lines(string name) =>
        facts.TryGetProperty(name, out JsonElement value) && value.ValueKind == JsonValueKind.Array ? [.. value.EnumerateArray().Select(line => line.ToString())] : [];

    public static Task<IReadOnlyList<Judged>> ObjectsAsync(IEnumerable<string> paths) => JudgeAsync("objects", paths);

    public static Task<IReadOnlyList<Judged>> PicturesAsync(IEnumerable<string> paths) => JudgeAsync("pictures", paths);

    /// <summary>The samples of objects against those of pictures, in pairs.</summary>
    public static Task<IReadOnlyList<Judged>> CompareAsync(IEnumerable<(string Object, string Picture)> pairs) =>
        JudgeAsync("compare", pairs.SelectMany(pair => (string[])[pair.Object, pair.Picture]));

    public double Fraction(string name) => facts.TryGetProperty(name, out JsonElement value) && value.ValueKind == JsonValueKind.Number ? value.GetDouble() : double.NaN;

    private static async Task<IReadOnlyList<Judged>> JudgeAsync(string what, IEnumerable<string> paths)
    {
        string said = await OutsideProgram.RunAsync(OutsideProgram.Python, [Script, what, .. paths]);
        return [.. said.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(line =>
        {
            using JsonDocument document = JsonDocument.Parse(line);
            return new Judged(document.RootElement.Clone());
        })];
    }
}
