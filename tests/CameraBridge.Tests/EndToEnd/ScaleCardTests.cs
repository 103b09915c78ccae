using System.Globalization;
using CameraBridge.Commands;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using CameraBridge.Tests.Peers;
using CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>From a photographed scale card on the stick to Pixel Spacing in what the archive received, read by pydicom; the truth is the drawn camera's.</summary>
public sealed class ScaleCardTests : IDisposable
{
    private static readonly SceneSettings Camera = new() { Width = 1280, Height = 960, Fill = 0.4, Tilt = 4, Blur = 0.8, Noise = 3 };

    private readonly TestSite site = new() { SourceLines = "    optic: wound" };

    public void Dispose() => site.Dispose();

    [Theory]
    [InlineData("yes", true)]
    [InlineData("no", false)]
    public async Task Stills_after_a_photographed_scale_card_say_how_large_a_pixel_is_where_the_site_allows_it(string allowed, bool measured)
    {
        CodeScene card = CodeScene.Draw(Camera with { Text = CardText.Write(new CardCue(CardKeys.Scale, "500")), Millimetres = 50 });
        byte[] label = CodeScene.Draw(Camera with { Text = "PID:SCALE1" }).File;
        site.WriteFolder("0001", label, TestPictures.Still(1, 1280, 960), card.File, TestPictures.Still(2, 1280, 960), TestPictures.Still(3, 1280, 960));
        var order = new Order("Gauge^Gwen", "SCALE1", "ACC901", "2.25.47119901", TestSite.Station, "XC", DateOnly.FromDateTime(DateTime.UtcNow), "SPS901");
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), [order]);
        site.UseWorklist(hospital.Worklist.Port, OutsideHospital.WorklistAETitle, "  days_around: 1");
        site.AddDestination("archive", hospital.Archive.Port, OutsideHospital.ArchiveAETitle);
        site.LabelLines = $"  read: yes\n  scale_cards: {allowed}";
        site.WriteConfiguration();

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.AllWell, run.Errors + run.Output);
        string[] received = await SpacingsAsync(hospital.ArchiveFolder);
        Assert.Equal(3, received.Length);
        Assert.Equal("", received[0]);
        Assert.All(received[1..], spacing =>
        {
            Assert.Equal(measured, spacing.Length > 0);
            if (measured)
            {
                // PS3.3 section 10.7.1.3 (2025e): row spacing first, in mm.
                double[] rowsThenColumns = [.. spacing.Split(' ').Select(value => double.Parse(value, CultureInfo.InvariantCulture))];
                Assert.All(rowsThenColumns, value => Assert.InRange(value / card.Spacing, 0.99, 1.01));
            }
        });
    }

    /// <summary>Pixel Spacing of each object, by instance number; empty where there is none.</summary>
    private static async Task<string[]> SpacingsAsync(string folder)
    {
        const string Script = """
            import glob, pydicom, sys
            objects = [pydicom.dcmread(path, stop_before_pixels=True) for path in glob.glob(sys.argv[1] + '/*')]
            for o in sorted(objects, key=lambda o: int(o.InstanceNumber)):
                print('got', *(o.PixelSpacing if o.get('PixelSpacingCalibrationType') == 'FIDUCIAL' else []))
            """;
        string said = await OutsideProgram.RunAsync(OutsideProgram.Python, ["-c", Script, folder]);
        return [.. said.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(line => line["got".Length..].Trim())];
    }
}
