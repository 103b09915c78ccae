using System.Globalization;
using System.Text;
using System.Text.RegularExpressions;
using CameraBridge.Commands;
using CameraBridge.Tests.Meta;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// Photographs that nobody here made, fetched from Debian and npm packages by tests/peers/fetch_photos.sh: telephones, cameras of up to 24 megapixels, a fundus photograph,
/// grey, 4:4:4, 4:2:2, with restart markers, colour profiles, damage. Each is filed, or held for the reason that an independent look at it (Pillow and a
/// reading of its markers by ITU-T T.81) gives.
/// </summary>
public sealed partial class PhotographsTests : IDisposable
{
    private readonly TestSite site = new();

    public void Dispose() => site.Dispose();

    [Fact]
    public async Task Every_photograph_is_filed_bit_for_bit_or_held_for_the_right_reason()
    {
        IReadOnlyList<Judged> photographs = await Judged.PicturesAsync(Photographs());
        Assert.True(photographs.Count >= 200, $"only {photographs.Count} photographs");
        // A camera's clock may be years off, and that holds a sitting; here the orders are as old as the pictures say they are.
        Order[] orders = WriteStick(photographs);
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), orders);
        site.UseWorklist(hospital.Worklist.Port, OutsideHospital.WorklistAETitle, "  days_around: 366");
        site.AddDestination("archive", hospital.Archive.Port, OutsideHospital.ArchiveAETitle);
        site.WriteConfiguration();

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors);
        IReadOnlyList<Judged> objects = await Judged.ObjectsAsync(Directory.EnumerateFiles(hospital.ArchiveFolder));
        Dictionary<string, string> heldReasons = HeldPictures(run.Report);
        HashSet<string> filedScans = [.. objects.Select(judged => judged.ScanSha256)];
        List<string> wrong = [];
        int filed = 0;
        for (int i = 0; i < photographs.Count; i++)
        {
            string place = PlaceOf(i);
            string[] expected = ReasonsToHold(photographs[i]);
            string? held = heldReasons.GetValueOrDefault(place);
            bool isFiled = held is null && filedScans.Contains(photographs[i].ScanSha256);
            filed += isFiled ? 1 : 0;
            if (expected.Length == 0 ? !isFiled : !expected.Any(word => held?.Contains(word, StringComparison.OrdinalIgnoreCase) == true))
            {
                wrong.Add($"{Path.GetRelativePath(PhotographFolder, photographs[i].Path)}: expected {(expected.Length == 0 ? "filed" : expected[0])} ({photographs[i].Text("djpeg")}), found {held ?? (isFiled ? "filed" : "neither")}");
            }
        }

        Assert.True(wrong.Count == 0, string.Join(Environment.NewLine, wrong));
        Assert.True(filed >= 50, $"only {filed} photographs were filed");
        Assert.All(objects, judged =>
        {
            Assert.Equal("ok", judged.Text("pydicom"));
            Assert.Equal("ok", judged.Text("gdcm"));
            Assert.True(judged.Lines("dciodvfy_errors").Count == 0, $"{judged.Path}: {string.Join("; ", judged.Lines("dciodvfy_errors"))}");
        });
    }

    private static string PhotographFolder =>
        Environment.GetEnvironmentVariable("CAMERABRIDGE_PHOTOS") ?? Path.Combine(Repository.Root, "artifacts", "peers", "photos");

    private static string[] Photographs() => Directory.Exists(PhotographFolder)
        ? [.. Directory.EnumerateFiles(PhotographFolder, "*", SearchOption.AllDirectories)
            .Where(path => Path.GetExtension(path).ToUpperInvariant() is ".JPG" or ".JPEG")
            .Order(StringComparer.Ordinal)]
        : throw new DirectoryNotFoundException($"{PhotographFolder} is missing: run tests/peers/fetch_photos.sh {PhotographFolder}");

    /// <summary>Words of which one stands in the reason for which the flow must hold the photograph, by the independent look; none when it must be filed.</summary>
    private static string[] ReasonsToHold(Judged photograph) => photograph switch
    {
        // What cannot be decoded, or only with damage, may have been a label: so its sitting is held, whatever else is the matter with it.
        _ when !photograph.Flag("decodes") || IsDamagedInScan(photograph) => ["could not be looked at"],
        _ when photograph.Number("sof") == 2 => ["progressive"],
        _ when photograph.Number("sof") != 0 => ["baseline"],
        _ when photograph.Number("components") == 4 => ["CMYK"],
        _ when photograph.Number("orientation") is > 1 and <= 8 => ["rotat"],
        // Adobe's APP14 marker with transform 0 says RGB (T.872 6.5.3).
        _ when photograph.Text("adobe") == "0" && photograph.Number("components") == 3 => ["RGB"],
        _ => [],
    };

    /// <summary>libjpeg complains of the picture itself, and not only of stray bytes between the segments before it, which no pixel depends on.</summary>
    private static bool IsDamagedInScan(Judged photograph) =>
        photograph.Text("djpeg").Split('\n', StringSplitOptions.RemoveEmptyEntries).Any(line => !BetweenSegments().IsMatch(line));

    /// <summary>"N extraneous bytes before marker" of a segment that comes before the scan: DQT, DHT, SOF0 or an application segment.</summary>
    [GeneratedRegex("extraneous bytes before marker 0x(db|c4|c0|e.)$")]
    private static partial Regex BetweenSegments();

    /// <summary>Why each picture that is not filed is held, by its place: for itself, or because its sitting is.</summary>
    private static Dictionary<string, string> HeldPictures(OnceReply report)
    {
        Dictionary<string, string> held = report.Sittings.SelectMany(sitting => sitting.HeldCaptures).ToDictionary(capture => capture.Place, capture => capture.Reason);
        foreach (SittingReply sitting in report.Sittings.Where(sitting => sitting.Held.Count > 0))
        {
            held.TryAdd($"{sitting.Folder}/IMG_0002.JPG", string.Join("; ", sitting.Held.Select(reason => reason.Words)));
        }

        return held;
    }

    private static string PlaceOf(int index) => string.Create(CultureInfo.InvariantCulture, $"{index + 1:0000}/IMG_0002.JPG");

    /// <summary>
    /// The day by the photograph's own Exif data, as Pillow reads it; where Pillow gives flawed data up, the first text in its head that is a time as Exif
    /// writes one; else its file time.
    /// </summary>
    private static DateOnly DayOf(Judged photograph) =>
        ExifDay(photograph.Text("taken")) ?? ExifDay(ExifTime().Match(Head(photograph.Path)).Value) ?? DateOnly.FromDateTime(File.GetLastWriteTime(photograph.Path));

    private static DateOnly? ExifDay(string text) =>
        DateTime.TryParseExact(text, "yyyy:MM:dd HH:mm:ss", CultureInfo.InvariantCulture, DateTimeStyles.None, out DateTime taken) ? DateOnly.FromDateTime(taken) : null;

    private static string Head(string path)
    {
        using FileStream file = File.OpenRead(path);
        byte[] head = new byte[64 * 1024];
        return Encoding.Latin1.GetString(head, 0, file.ReadAtLeast(head, head.Length, throwOnEndOfStream: false));
    }

    /// <summary>"YYYY:MM:DD HH:MM:SS" (Exif 2.3, section 4.6.4, DateTime).</summary>
    [GeneratedRegex("[0-9]{4}:[0-9]{2}:[0-9]{2} [0-9]{2}:[0-9]{2}:[0-9]{2}")]
    private static partial Regex ExifTime();

    /// <summary>Each photograph in a folder of its own behind a label shot, since a damaged one makes what follows it doubtful; both files bear the camera's day.</summary>
    private Order[] WriteStick(IReadOnlyList<Judged> photographs)
    {
        for (int i = 0; i < photographs.Count; i++)
        {
            string path = Path.Combine(site.Stick, PlaceOf(i));
            Directory.CreateDirectory(Path.GetDirectoryName(path)!);
            File.WriteAllBytes(Path.Combine(Path.GetDirectoryName(path)!, "IMG_0001.JPG"), TestPictures.Label($"PID:PHOTO{i}", i));
            File.Copy(photographs[i].Path, path);
            foreach (string file in Directory.EnumerateFiles(Path.GetDirectoryName(path)!))
            {
                File.SetLastWriteTime(file, DayOf(photographs[i]).ToDateTime(new TimeOnly(0, 0, 1)));
            }
        }

        return [.. Enumerable.Range(0, photographs.Count).Select(i =>
            new Order($"Photograph^Number{i}", $"PHOTO{i}", $"ACCP{i}", $"2.25.81500{i}", TestSite.Station, "XC", DayOf(photographs[i]), $"SPSP{i}"))];
    }
}
