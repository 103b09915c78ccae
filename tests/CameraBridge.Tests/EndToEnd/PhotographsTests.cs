using System.Globalization;
using CameraBridge.Commands;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// Photographs that nobody here made, fetched from Debian and npm packages by tests/peers/fetch_photos.sh: telephones, cameras of up to 24 megapixels, a fundus photograph,
/// grey, 4:4:4, 4:2:2, with restart markers, colour profiles, damage. Each is filed, or held for the reason that an independent look at it (Pillow and a
/// reading of its markers by ITU-T T.81) gives.
/// </summary>
public sealed class PhotographsTests : IDisposable
{
    private static readonly DateOnly Day = new(2026, 11, 2);
    private readonly TestSite site = new();

    public void Dispose() => site.Dispose();

    [Fact]
    public async Task Every_photograph_is_filed_bit_for_bit_or_held_for_the_right_reason()
    {
        IReadOnlyList<Judged> photographs = await Judged.PicturesAsync(Photographs());
        Assert.True(photographs.Count >= 200, $"only {photographs.Count} photographs");
        Order[] orders = WriteStick(photographs);
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), orders);
        site.UseWorklist(hospital.Worklist.Port, OutsideHospital.WorklistAETitle, "  days_around: 30000");
        site.AddDestination("archive", hospital.Archive.Port, OutsideHospital.ArchiveAETitle);
        site.WriteConfiguration();

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors);
        IReadOnlyList<Judged> objects = await Judged.ObjectsAsync(Directory.EnumerateFiles(hospital.ArchiveFolder));
        Dictionary<string, string> heldReasons = run.Report.Sittings.SelectMany(sitting => sitting.HeldCaptures).ToDictionary(held => held.Place, held => held.Reason);
        HashSet<string> filedScans = [.. objects.Select(judged => judged.ScanSha256)];
        List<string> wrong = [];
        int filed = 0;
        for (int i = 0; i < photographs.Count; i++)
        {
            string place = PlaceOf(i);
            string? expected = ReasonToHold(photographs[i]);
            string? held = heldReasons.GetValueOrDefault(place);
            bool isFiled = held is null && filedScans.Contains(photographs[i].ScanSha256);
            filed += isFiled ? 1 : 0;
            if (expected is null ? !isFiled : held?.Contains(expected, StringComparison.OrdinalIgnoreCase) != true)
            {
                wrong.Add($"{Path.GetRelativePath(PhotographFolder, photographs[i].Path)}: expected {expected ?? "filed"}, found {held ?? (isFiled ? "filed" : "neither")}");
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

    /// <summary>A word of the reason for which the flow must hold the photograph, by the independent look; null when it must be filed.</summary>
    private static string? ReasonToHold(Judged photograph) => photograph switch
    {
        _ when !photograph.Flag("jpeg") => "JPEG",
        _ when photograph.Text("sof").Length == 0 => "JPEG",
        _ when photograph.Number("sof") == 2 => "progressive",
        _ when photograph.Number("sof") != 0 => "baseline",
        _ when photograph.Number("components") == 4 => "CMYK",
        _ when !photograph.Flag("decodes") => "",
        _ when photograph.Number("orientation") is > 1 and <= 8 => "rotat",
        _ => null,
    };

    private static string PlaceOf(int index) => string.Create(CultureInfo.InvariantCulture, $"{(index / 20) + 1:0000}/IMG_{(index % 20) + 2:0000}.JPG");

    /// <summary>Twenty photographs a folder, each folder behind a label shot of its own patient.</summary>
    private Order[] WriteStick(IReadOnlyList<Judged> photographs)
    {
        List<Order> orders = [];
        for (int i = 0; i < photographs.Count; i++)
        {
            string path = Path.Combine(site.Stick, PlaceOf(i));
            if (i % 20 == 0)
            {
                int number = (i / 20) + 1;
                Directory.CreateDirectory(Path.GetDirectoryName(path)!);
                File.WriteAllBytes(Path.Combine(Path.GetDirectoryName(path)!, "IMG_0001.JPG"), TestPictures.Label($"PID:PHOTO{number}", number));
                orders.Add(new Order($"Photograph^Folder{number}", $"PHOTO{number}", $"ACCP{number}", $"2.25.81500{number}", TestSite.Station, "XC", Day, $"SPSP{number}"));
            }

            File.Copy(photographs[i].Path, path);
        }

        return [.. orders];
    }
}
