using CameraBridge.Commands;
using CameraBridge.Configuration;
using CameraBridge.Conformance;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Iods;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Tests.Commands;
using CameraBridge.Tests.Meta;
using Xunit;

namespace CameraBridge.Tests.Conformance;

/// <summary>The documents for integrators are those that the program makes, and what they say is true of it.</summary>
public sealed class ConformanceTextTests
{
    private static readonly Lazy<IReadOnlyList<ClassSurvey>> Made = new(() => ClassSurvey.Make(OpticsTable.Own));

    [Fact]
    public void The_statement_in_the_repository_is_the_programs() => AssertIs("statement", StatementText.Write(null));

    [Fact]
    public void The_coverage_in_the_repository_is_the_programs() => AssertIs("coverage", CoverageText.Write(OpticsTable.Own));

    [Fact]
    public void Every_attribute_of_a_mandatory_module_that_is_never_there_has_a_reason()
    {
        string[] unexplained = [.. CoverageText.NeverThoughMandatory(Made.Value).Where(never => never.Reason is null).Select(never => $"{never.Row.Module}\t{never.Row.Path}\t({never.Iod})")];

        Assert.True(unexplained.Length == 0, "src/CameraBridge/Conformance/absent.tsv needs a reason for:\n" + string.Join('\n', unexplained.Distinct()));
    }

    [Fact]
    public void Every_module_that_is_never_used_has_a_reason() => Assert.DoesNotContain("no reason is given", CoverageText.Write(OpticsTable.Own), StringComparison.Ordinal);

    [Fact]
    public void Every_reason_is_for_a_module_and_an_attribute_that_the_tables_have()
    {
        HashSet<(string Module, string Keyword)> known = [];
        foreach (ModuleTable module in IodTables.All.SelectMany(iod => iod.Modules).Select(use => use.Module).DistinctBy(module => module.Name))
        {
            known.Add((module.Name, AbsentReasons.Any));
            foreach (string keyword in Keywords(module.Rows))
            {
                known.Add((module.Name, keyword));
                known.Add((AbsentReasons.Any, keyword));
            }
        }

        Assert.All(AbsentReasons.Own.All, reason => Assert.Contains((reason.Module, reason.Path.Split(AttributePaths.Step)[^1]), known));
    }

    [Fact]
    public void Every_value_that_may_be_said_of_a_picture_is_surveyed_in_two_forms()
    {
        Assert.Equal(ValueKeys.All.Select(key => key.Name).Order(StringComparer.Ordinal), SampleFacts.Said.Keys.Order(StringComparer.Ordinal));
        foreach ((string key, (string first, string second)) in SampleFacts.Said.Where(said => said.Key != ValueKeys.BodySite))
        {
            Assert.NotEqual(SampleFacts.Kept(key, first), SampleFacts.Kept(key, second));
        }
    }

    [Fact]
    public void The_survey_finds_where_values_come_from()
    {
        // What the code of the mapping says, read by a person, for one attribute of each origin.
        ClassSurvey ear = Made.Value.Single(survey => survey.Class.SOPClassUID == SopClasses.VLEndoscopicImageStorage);
        Assert.Equal(["MWL PatientName"], ear.OriginsOf("PatientName"));
        Assert.Equal(["MWL RequestedProcedureID"], ear.OriginsOf("StudyID"));
        Assert.Equal(["CAMERA (Exif)", "CONFIG device.model"], ear.OriginsOf("ManufacturerModelName"));
        Assert.Equal(["AUTO"], ear.OriginsOf("SOPInstanceUID"));
        Assert.Equal(["CAMERA"], ear.OriginsOf("Rows"));
        Assert.Empty(ear.OriginsOf("SOPClassUID"));
        Assert.Contains("USER side", ear.OriginsOf("ImageLaterality"));
        ClassSurvey skin = Made.Value.Single(survey => survey.Class.SOPClassUID == SopClasses.DermoscopicPhotographyImageStorage);
        Assert.Contains("USER polarisation", skin.OriginsOf("LightSourcePolarization"));
    }

    [Fact]
    public void The_survey_finds_what_is_always_there_and_what_only_when_known()
    {
        ClassSurvey eye = Made.Value.Single(survey => survey.Class.SOPClassUID == SopClasses.OphthalmicPhotography8BitImageStorage);
        Assert.Equal(Presence.Always, eye.PresenceOf("ImageLaterality"));
        Assert.Equal(Presence.Vnap, eye.PresenceOf("PatientBirthDate"));
        Assert.Equal(Presence.Empty, eye.PresenceOf("EmmetropicMagnification"));
        Assert.Equal(Presence.Anap, eye.PresenceOf("DegreeOfDilation"));
        Assert.Equal(Presence.Never, eye.PresenceOf("PatientAge"));

        // Types 1 and 2 of mandatory modules, PS3.3 edition 2025e: in every object, and type 1 with a value.
        foreach (ClassSurvey survey in Made.Value)
        {
            foreach (AttributeRow row in survey.Iod.Modules.Where(use => use.Usage == 'M').SelectMany(use => use.Module.Rows).Where(row => row.Condition is null && row.Type != '3'))
            {
                Presence presence = survey.PresenceOf(row.Keyword);
                Assert.True(
                    row.Type == '1' ? presence == Presence.Always : presence is Presence.Always or Presence.Vnap or Presence.Empty,
                    $"{survey.Iod.Name}: {row.Keyword} of type {row.TypeText} is {presence}");
            }
        }
    }

    [Fact]
    public void Every_return_key_is_stated_and_matching_keys_are_those_of_the_question()
    {
        IReadOnlyList<WorklistKey> keys = WorklistKeys.Find(Made.Value);
        Assert.Equal(
            ["AccessionNumber", "PatientID", "ScheduledProcedureStepSequence>Modality", "ScheduledProcedureStepSequence>ScheduledProcedureStepID",
                "ScheduledProcedureStepSequence>ScheduledProcedureStepStartDate", "ScheduledProcedureStepSequence>ScheduledStationAETitle"],
            keys.Where(key => key.IsMatched).Select(key => key.Path).Order(StringComparer.Ordinal));
        Assert.Contains(keys, key => key is { Path: "IssuerOfPatientID", Decides: true });
        Assert.All(AttributePaths.Of(new WorklistQuestion().ToIdentifier()).Keys.Where(path => path != "SpecificCharacterSet" && !path.EndsWith("Sequence", StringComparison.Ordinal)),
            path => Assert.Contains(keys, key => key.Path == path));
    }

    [Fact]
    public void Every_status_of_the_services_is_stated()
    {
        string statement = StatementText.Write(null);
        Assert.All(Statuses.All.Where(status => status.Service is "C-STORE" or "C-FIND" or "any"), status => Assert.Contains($"| {status.Code} | {status.Class} | {status.Meaning} |", statement, StringComparison.Ordinal));
    }

    [Fact]
    public void The_statement_of_a_site_names_its_peers_and_optics()
    {
        // The example in deploy/ is a site; PS3.2 section N.6 asks for AE titles, ports and limits.
        string statement = StatementText.Write(ConfigurationFile.Load(Path.Combine(Repository.Root, "deploy", "camerabridge.example.yaml")));

        Assert.Contains("| Worklist | CAMERABRIDGE | WORKLIST at ris.hollinvale.example | 11112 |", statement, StringComparison.Ordinal);
        Assert.Contains("| Storage | CAMERABRIDGE | ARCHIVE at pacs.hollinvale.example | 104 | 10 s, 30 s | up to 4 associations, and 1 for clips; confirmed by auto |", statement, StringComparison.Ordinal);
    }

    [Fact]
    public async Task The_command_prints_the_statement_and_refuses_a_configuration_that_is_not_there()
    {
        CancellationToken cancellation = TestContext.Current.CancellationToken;
        TestTerminal good = await TestTerminal.RunAsync(cancellation, ["conformance", "statement"]);
        TestTerminal bad = await TestTerminal.RunAsync(cancellation, ["conformance", "coverage", "--config", "/nowhere/site.yaml"]);

        Assert.Equal(ExitCodes.AllWell, good.ExitCode);
        Assert.StartsWith("# DICOM Conformance Statement\n", good.Out, StringComparison.Ordinal);
        Assert.Equal(ExitCodes.UsageOrConfiguration, bad.ExitCode);
    }

    private static IEnumerable<string> Keywords(RowSet rows) => rows.SelectMany(row => Keywords(row.Rows).Append(row.Keyword));

    private static void AssertIs(string name, string made)
    {
        string path = Path.Combine(Repository.Root, "conformance", name + ".md");
        string kept = File.Exists(path) ? File.ReadAllText(path) : "";
        Assert.True(
            kept == made,
            $"conformance/{name}.md is not what the program makes now. Look at what changed, then write it anew: dotnet run --project src/CameraBridge -- conformance {name} > conformance/{name}.md");
    }
}
