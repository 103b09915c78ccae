using System.Text.Json;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Tests.Dicom.Bitstreams;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

/// <summary>
/// Every optic of the table with every side and option, as the flow would make it, before judges that know nothing of us: dciodvfy of dicom3tools for the
/// IOD, pydicom and GDCM as readers, dcentvfy for what the objects of one study must have in common.
/// </summary>
public sealed class EveryOpticTests
{
    /// <summary>Debian's GDCM (3.0) predates the dermoscopic class (2020) and opens none of its images.</summary>
    private const string OlderThanDermoscopy = "ok cannot read";

    /// <summary>What nothing but a person knows, by optic: enough that nothing holds the picture.</summary>
    private static readonly (string Key, string Value)[] Everything =
    [
        (ValueKeys.LensPower, "-12.5"), (ValueKeys.Gaze, "Primary gaze"), (ValueKeys.FieldOfView, "25"), (ValueKeys.CameraAngle, "30"), (ValueKeys.Detector, "CMOS"),
        (ValueKeys.Pupil, "dilated"), (ValueKeys.PupilDiameter, "7.5"), (ValueKeys.Mydriatics, "Tropicamide"), (ValueKeys.Mydriatics, "Phenylephrine"),
        (ValueKeys.EyePressure, "16"), (ValueKeys.Lenses, "409897002"), (ValueKeys.LightFilters, "445465004"), (ValueKeys.ImageFilters, "No filter"),
        (ValueKeys.Illumination, "Diffuse direct illumination"), (ValueKeys.ImagePosition, "Macula centered"), (ValueKeys.EyeImage, "redfree"),
    ];

    private static readonly (string Key, string Value)[] EverythingOfSkin =
    [
        (ValueKeys.BodySite, "Skin of sole of forefoot"), (ValueKeys.Immersion, "gel"), (ValueKeys.Immersion, "cap"), (ValueKeys.Polarisation, "polarised"),
        (ValueKeys.Magnification, "45.5"), (ValueKeys.ColourTemperature, "5600"), (ValueKeys.BodySiteModifiers, "Lateral"),
    ];

    private static readonly (string Key, string Value)[] EverythingOfTeeth =
    [
        (ValueKeys.Tooth, "11"), (ValueKeys.Tooth, "85"), (ValueKeys.View, "frontal"), (ValueKeys.ViewModifiers, "Mirrored visible image uncorrected flipped vertically"),
        (ValueKeys.WorkingDistance, "28"), (OpticPart.WithKey, "mirror"),
    ];

    [Fact]
    public async Task Every_optic_with_every_side_and_option_makes_a_right_object()
    {
        string photograph = Photographs.All().First(path => path.EndsWith("retina.jpg", StringComparison.Ordinal));
        string folder = Directory.CreateTempSubdirectory("optics-").FullName;
        var files = new Dictionary<string, string>();
        foreach (Optic optic in OpticsTable.Own.All)
        {
            string?[] sides = optic.Needs.Contains(ValueKeys.Side) ? ["R", "L", "B"] : ["R", "L", "B", null];
            string?[] options = [null, .. optic.Options.Select(option => option.Name)];
            int variants = Math.Max(sides.Length, options.Length);
            for (int i = 0; i < variants; i++)
            {
                ObjectFacts facts = TestFacts.Of(photograph, optic.Name, sides[i % sides.Length]);
                await AddAsync(files, folder, optic.Name, options[i % options.Length] is { } option ? facts.Saying((OpticPart.WithKey, option)) : facts);
            }
        }

        await AddAsync(files, folder, "retina, everything", TestFacts.Of(photograph, "retina", "L").Saying(Everything));
        await AddAsync(files, folder, "skin-contact, everything", TestFacts.Of(photograph, "skin-contact", "L").Saying(EverythingOfSkin));
        await AddAsync(files, folder, "teeth, everything", TestFacts.Of(photograph, "teeth", null).Saying(EverythingOfTeeth));

        await JudgeAsync(files);
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task A_clip_of_every_optic_makes_a_right_object()
    {
        string folder = Directory.CreateTempSubdirectory("clips-").FullName;
        string clip = await DrawClipAsync(folder, withSound: true);
        string silent = await DrawClipAsync(folder, withSound: false);
        var files = new Dictionary<string, string>();
        foreach (Optic optic in OpticsTable.Own.All)
        {
            foreach (string? side in (string?[])(optic.Needs.Contains(ValueKeys.Side) ? ["R", "B"] : ["L", null]))
            {
                ObjectFacts facts = TestFacts.Of(side is null ? silent : clip, optic.Name, side, kind: CaptureKind.Clip);
                await AddAsync(files, folder, $"{optic.Name} clip", optic.Always.Values.Has(ValueKeys.BodySite) ? facts : facts.Saying((ValueKeys.BodySite, "Neck")));
            }
        }

        await JudgeAsync(files);
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public async Task A_study_of_stills_and_clips_of_both_sides_agrees_with_itself()
    {
        string photograph = Photographs.All().First(path => path.EndsWith("retina.jpg", StringComparison.Ordinal));
        string folder = Directory.CreateTempSubdirectory("study-").FullName;
        string clip = await DrawClipAsync(folder, withSound: true);
        var files = new Dictionary<string, string>();
        int series = 0;
        foreach (string optic in (string[])["ear", "face", "skin-contact", "retina"])
        {
            foreach (ObjectFacts facts in (ObjectFacts[])[TestFacts.Of(photograph, optic), TestFacts.Of(photograph, optic, "L"), TestFacts.Of(clip, optic, "L", kind: CaptureKind.Clip)])
            {
                series += facts.Series.Kind == CaptureKind.Clip ? 0 : 1;
                int number = facts.Series.Kind == CaptureKind.Clip ? 100 + series : (series + 1) / 2;
                await AddAsync(files, folder, optic, facts with
                {
                    Series = facts.Series with { SeriesNumber = number, SeriesInstanceUID = FormattableString.Invariant($"2.25.{optic.Length}{number}") },
                });
            }
        }

        await JudgeAsync(files);
        string told = await OutsideProgram.RunAsync("/usr/bin/dcentvfy", files.Keys);
        Assert.DoesNotContain("Error", told, StringComparison.Ordinal);
        Directory.Delete(folder, recursive: true);
    }

    [Theory]
    [InlineData("Παπαδοπούλου^Ελένη")]
    [InlineData("Yamada^Tarou=山田^太郎=やまだ^たろう")]
    [InlineData("Hong^Gildong=洪^吉洞=홍^길동")]
    [InlineData("قباني^لنزار")]
    [InlineData("Ågård^Bjørn")]
    public async Task A_patient_without_birth_date_in_any_script_makes_right_objects(string name)
    {
        string photograph = Photographs.All().First(path => path.EndsWith("retina.jpg", StringComparison.Ordinal));
        string folder = Directory.CreateTempSubdirectory("names-").FullName;
        DataSet step = TestFacts.Step();
        step.Set(Tags.PatientName, name);
        step.SetEmpty(Tags.PatientBirthDate);
        var files = new Dictionary<string, string>();
        foreach (string optic in (string[])["ear", "face", "skin-contact", "retina"])
        {
            ObjectFacts facts = TestFacts.Of(photograph, optic, "R", step);
            ObjectOutcome.Made made = await AddAsync(files, folder, optic, facts);
            Assert.Equal(name, made.DataSet.GetString(Tags.PatientName));
            Assert.True(made.DataSet[Tags.PatientBirthDate] is { IsEmpty: true });
        }

        await JudgeAsync(files);
        Directory.Delete(folder, recursive: true);
    }

    /// <summary>Two seconds at 30 frames a second, High@4.1, by ffmpeg.</summary>
    private static async Task<string> DrawClipAsync(string folder, bool withSound)
    {
        string path = Path.Combine(folder, withSound ? "clip.mp4" : "silent.mp4");
        string[] sound = withSound ? ["-f", "lavfi", "-i", "sine=frequency=440:sample_rate=48000:duration=2", "-c:a", "aac", "-ac", "2"] : [];
        await OutsideProgram.RunAsync("/usr/bin/ffmpeg",
        [
            "-v", "error", "-f", "lavfi", "-i", "testsrc2=size=1280x720:rate=30:duration=2", .. sound,
            "-c:v", "libx264", "-profile:v", "high", "-level", "4.1", "-pix_fmt", "yuv420p", "-movflags", "+faststart", path,
        ]);
        return path;
    }

    private static async Task<ObjectOutcome.Made> AddAsync(Dictionary<string, string> files, string folder, string what, ObjectFacts facts)
    {
        string path = Path.Combine(folder, FormattableString.Invariant($"{files.Count:000}.dcm"));
        facts = facts with { Picture = facts.Picture with { SOPInstanceUID = Uids.NewFromUuid() } };
        ObjectOutcome outcome = facts.Compose();
        ObjectOutcome.Made made = outcome as ObjectOutcome.Made
            ?? throw new InvalidOperationException($"{what}: {(outcome as ObjectOutcome.Held)?.Reason.Words}");
        await ObjectJudgesTests.WriteAsync(path, facts, made);
        files.Add(path, $"{what} {facts.Picture.Said.ToJson()}");
        return made;
    }

    private static async Task JudgeAsync(Dictionary<string, string> files)
    {
        IReadOnlyDictionary<string, JsonElement> judged = await Photographs.JudgeAsync("objects", files.Keys);
        string[] faults =
        [
            .. files.Select(file => (file.Value, Judged: judged[file.Key]))
                .Select(file => (file.Value, Errors: string.Join(' ', file.Judged.GetProperty("dciodvfy_errors").EnumerateArray()), Readers: $"{file.Judged.GetProperty("pydicom")} {file.Judged.GetProperty("gdcm")}"))
                .Where(file => file.Errors.Length > 0 || (file.Readers != "ok ok" && !(file.Value.StartsWith("skin-", StringComparison.Ordinal) && file.Readers == OlderThanDermoscopy)))
                .Select(file => $"{file.Value}: {file.Errors} {file.Readers}"),
        ];
        Assert.True(faults.Length == 0, string.Join('\n', faults));
    }
}
