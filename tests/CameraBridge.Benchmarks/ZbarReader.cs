using System.Diagnostics;
using System.Xml.Linq;

namespace CameraBridge.Benchmarks;

/// <summary>Debian's zbarimg as another reader of the same pictures. It knows no Data Matrix.</summary>
internal static class ZbarReader
{
    public static bool IsThere { get; } = (Environment.GetEnvironmentVariable("PATH") ?? "").Split(':').Any(folder => File.Exists(Path.Combine(folder, "zbarimg")));

    /// <summary>Reads pictures in one run of the program.</summary>
    /// <returns>The texts of each picture, and the seconds of the run.</returns>
    public static (IReadOnlyList<IReadOnlyList<string>> Texts, double Seconds) Read(IReadOnlyList<byte[]> pictures)
    {
        string folder = Directory.CreateTempSubdirectory("camerabridge-zbar-").FullName;
        try
        {
            string[] names = [.. Enumerable.Range(0, pictures.Count).Select(number => Path.Combine(folder, $"{number:00000}.jpg"))];
            for (int i = 0; i < names.Length; i++)
            {
                File.WriteAllBytes(names[i], pictures[i]);
            }

            long start = Stopwatch.GetTimestamp();
            using Process process = Process.Start(new ProcessStartInfo(
                "zbarimg", ["--xml", "--quiet", "-Sdisable", "-Sqrcode.enable", "-Scode128.enable", .. names])
            {
                RedirectStandardOutput = true,
                RedirectStandardError = true,
            })!;
            Task<string> errors = process.StandardError.ReadToEndAsync();
            string xml = process.StandardOutput.ReadToEnd();
            process.WaitForExit();
            errors.GetAwaiter().GetResult();
            double seconds = Stopwatch.GetElapsedTime(start).TotalSeconds;
            ILookup<string, string> found = XDocument.Parse(xml).Descendants()
                .Where(element => element.Name.LocalName == "data")
                .ToLookup(element => element.Ancestors().First(above => above.Name.LocalName == "source").Attribute("href")!.Value, element => element.Value, StringComparer.Ordinal);
            return ([.. names.Select(name => (IReadOnlyList<string>)[.. found[name]])], seconds);
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }
}
