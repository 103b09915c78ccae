using System.Diagnostics;
using System.Text.Json;
using CameraBridge.Tests.Meta;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>
/// Photographs that nobody here drew, as tests/peers/fetch_photos.sh unpacks them: in CAMERABRIDGE_PHOTOS, or in artifacts/peers/photos. And the
/// judges of tests/peers/judge.py, which know nothing of the product.
/// </summary>
internal static class Photographs
{
    public static string Folder =>
        Environment.GetEnvironmentVariable("CAMERABRIDGE_PHOTOS") is { Length: > 0 } folder ? folder : Path.Combine(Repository.Root, "artifacts/peers/photos");

    /// <summary>All of them, or the test is skipped with the command that fetches them.</summary>
    public static IReadOnlyList<string> All()
    {
        Assert.SkipUnless(Directory.Exists(Folder), $"No photographs in {Folder}; fetch them with tests/peers/fetch_photos.sh {Folder}");
        return [.. Directory.EnumerateFiles(Folder, "*", SearchOption.AllDirectories)
            .Where(path => Path.GetExtension(path).ToUpperInvariant() is ".JPG" or ".JPEG")
            .Order(StringComparer.Ordinal)];
    }

    /// <summary>What the judges say of files, by path.</summary>
    /// <param name="kind">"pictures" or "objects".</param>
    /// <param name="paths">The files.</param>
    public static async Task<IReadOnlyDictionary<string, JsonElement>> JudgeAsync(string kind, IEnumerable<string> paths)
    {
        const string python = "/usr/bin/python3";
        Assert.SkipUnless(File.Exists(python) && (kind == "pictures" || File.Exists("/usr/bin/dciodvfy")), "The judges need Debian's python3-pydicom, python3-gdcm, python3-pil and dicom3tools.");
        using var process = Process.Start(new ProcessStartInfo(python, [Path.Combine(Repository.Root, "tests/peers/judge.py"), kind, "-"])
        {
            RedirectStandardInput = true,
            RedirectStandardOutput = true,
        })!;
        Task feeding = FeedAsync(process, paths);
        var verdicts = new Dictionary<string, JsonElement>();
        while (await process.StandardOutput.ReadLineAsync(TestContext.Current.CancellationToken) is { } line)
        {
            JsonElement verdict = JsonElement.Parse(line);
            verdicts.Add(verdict.GetProperty("path").GetString()!, verdict);
        }

        await feeding;
        await process.WaitForExitAsync(TestContext.Current.CancellationToken);
        Assert.Equal(0, process.ExitCode);
        return verdicts;
    }

    private static async Task FeedAsync(Process process, IEnumerable<string> paths)
    {
        foreach (string path in paths)
        {
            await process.StandardInput.WriteLineAsync(path);
        }

        process.StandardInput.Close();
    }
}
