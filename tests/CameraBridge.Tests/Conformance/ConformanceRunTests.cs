using System.Text.Json;
using CameraBridge.Conformance;
using CameraBridge.Dicom.Part10;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Tests.EndToEnd;
using CameraBridge.Tests.Meta;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Conformance;

/// <summary>One run of conformance/run.sh: its report, and the objects that dcmtk's receiver kept.</summary>
public sealed class ConformanceRun : IAsyncLifetime
{
    private static readonly TimeSpan RunLimit = TimeSpan.FromMinutes(5);

    public string Objects { get; } = Path.Combine(Directory.CreateTempSubdirectory("conformance-objects-").FullName, "objects");

    public JsonElement Report { get; private set; }

    public string Said { get; private set; } = "";

    public async ValueTask InitializeAsync()
    {
        foreach (string program in (string[])["dciodvfy", "dcentvfy", "gdcmdump", "wlmscpfs", "storescp", "ffmpeg", "/usr/sbin/Orthanc", OutsideProgram.Python])
        {
            OutsideProgram.Require(program);
        }

        using var limit = new CancellationTokenSource(RunLimit);
        (_, Said) = await PeerProcess.RunAsync(
            "bash",
            [Path.Combine(Repository.Root, "conformance", "run.sh"), TestSite.Executable],
            limit.Token,
            new Dictionary<string, string> { ["CAMERABRIDGE_CONFORMANCE_OBJECTS"] = Objects });
        using JsonDocument report = JsonDocument.Parse(await File.ReadAllTextAsync(Path.Combine(Repository.Root, "conformance", "report.json"), limit.Token));
        Report = report.RootElement.Clone();
    }

    public ValueTask DisposeAsync()
    {
        Directory.Delete(Path.GetDirectoryName(Objects)!, recursive: true);
        return ValueTask.CompletedTask;
    }
}

/// <summary>Objects of every optic, made by the whole program, before judges that nobody here wrote; and the documents for integrators held against them.</summary>
public sealed class ConformanceRunTests(ConformanceRun run) : IClassFixture<ConformanceRun>
{
    [Fact]
    public void Every_picture_becomes_an_object_and_every_judge_is_content()
    {
        Assert.Empty(run.Report.GetProperty("missing").EnumerateArray().Select(text => text.GetString()));
        Assert.True(run.Report.GetProperty("conforms").GetBoolean(), run.Said);
        Assert.All(Rows(), row => Assert.Equal(7, row.GetProperty("judges").EnumerateObject().Count()));
    }

    [Fact]
    public void Every_optic_is_there_as_still_and_as_clip()
    {
        IEnumerable<string> expected = OpticsTable.Own.Names.SelectMany(name => (string[])[$"{name} clip", $"{name} still"]);

        Assert.Equal(expected, Rows().Select(row => $"{Text(row, "optic")} {Text(row, "kind")}").Distinct().Order(StringComparer.Ordinal));
    }

    [Theory]
    [InlineData("no birth date")]
    [InlineData("name in Greek")]
    [InlineData("name in Japanese")]
    [InlineData("name in Korean")]
    [InlineData("name in Arabic")]
    [InlineData("name in Latin-1")]
    [InlineData("both sides")]
    [InlineData("unscheduled: assigned by accession number")]
    public void Odd_ones_are_among_them(string odd) => Assert.Contains(Rows(), row => Text(row, "odd") == odd);

    [Fact]
    public void They_have_no_transfer_syntax_that_the_statement_does_not_name() => Assert.Empty(
        Rows().Select(row => $"{Text(row, "kind")} {Text(row, "transfer_syntax_uid")}").Distinct()
            .Except(ObjectSyntaxes.All.Select(syntax => $"{(syntax.Kind == CaptureKind.Clip ? "clip" : "still")} {syntax.UID}")));

    [Fact]
    public async Task They_have_the_attributes_that_the_coverage_tells_and_no_others()
    {
        Dictionary<string, ClassSurvey> surveys = ClassSurvey.Make(OpticsTable.Own).ToDictionary(survey => survey.Class.SOPClassUID);
        var faults = new List<string>();
        foreach (string path in Directory.EnumerateFiles(run.Objects))
        {
            Part10File file = await Part10File.OpenAsync(path, cancellationToken: TestContext.Current.CancellationToken);
            IReadOnlyDictionary<string, string> attributes = AttributePaths.Of(file.DataSet);
            ClassSurvey survey = surveys[file.Meta.MediaStorageSOPClassUID];
            faults.AddRange(attributes.Keys.Where(one => survey.PresenceOf(one) == Presence.Never).Select(one => $"{survey.Iod.Name}: {one} is there, and the coverage says never"));
            faults.AddRange(survey.Paths.Where(one => !one.Contains(AttributePaths.Step) && survey.PresenceOf(one) == Presence.Always && attributes.GetValueOrDefault(one) is null or "")
                .Select(one => $"{survey.Iod.Name}: {one} is not there, and the coverage says always"));
        }

        Assert.True(faults.Count == 0, string.Join('\n', faults.Distinct()));
    }

    private JsonElement.ArrayEnumerator Rows() => run.Report.GetProperty("rows").EnumerateArray();

    private static string Text(JsonElement row, string name) => row.GetProperty(name).GetString()!;
}
