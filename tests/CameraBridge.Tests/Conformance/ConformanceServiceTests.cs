using CameraBridge.Configuration;
using CameraBridge.Conformance;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Tests.Meta;
using Xunit;

namespace CameraBridge.Tests.Conformance;

/// <summary>What the statement says of confirmations, performed steps and web services (PS3.2 Annex N, edition 2025e, asks for it) is true of the program.</summary>
public sealed class ConformanceServiceTests
{
    private static readonly Lazy<string> Statement = new(() => StatementText.Write(null));

    [Theory]
    [InlineData("STOW")]
    [InlineData("N-ACTION")]
    [InlineData("commitment")]
    [InlineData("N-CREATE")]
    [InlineData("N-SET")]
    public void Every_status_of_the_services_is_stated_with_what_is_done(string service) =>
        Assert.All(Statuses.All.Where(status => status.Service == service), status => AssertLine($"| {status.Code} | {status.Class} | {status.Meaning} | "));

    [Fact]
    public void Every_answer_to_a_report_is_stated() => Assert.All(
        Statuses.All.Where(status => status.Service == "N-EVENT-REPORT"), status => AssertLine($"| {status.Code} | {status.Class} | {status.Meaning}"));

    [Fact]
    public void The_services_and_roles_are_stated()
    {
        AssertLine("| Storage Commitment Push Model SOP Class | 1.2.840.10008.1.20.1 | yes | no |");
        AssertLine("| Study Root Query/Retrieve Information Model - FIND | 1.2.840.10008.5.1.4.1.2.2.1 | yes | no |");
        AssertLine("| Modality Performed Procedure Step SOP Class | 1.2.840.10008.3.1.2.3.3 | yes | no |");
        AssertLine("| Storage Commitment Push Model SOP Class (1.2.840.10008.1.20.1) | Implicit VR Little Endian (1.2.840.10008.1.2) | SCU of the service; the archive is its SCP | SCP/SCU role selection granted");
    }

    [Fact]
    public void The_query_that_proves_keeping_is_that_of_the_image_level()
    {
        // PS3.4 section C.6.2.1.1 and Table C.6-5, edition 2025e: unique keys above the level are single values.
        AssertLine("| QueryRetrieveLevel | (0008,0052) | CS | IMAGE | |");
        AssertLine("| StudyInstanceUID | (0020,000D) | UI | single value |");
        AssertLine("| SeriesInstanceUID | (0020,000E) | UI | single value |");
        AssertLine("| SOPInstanceUID | (0008,0018) | UI | universal: to be told | must be that of the object |");
    }

    [Fact]
    public void Every_attribute_that_a_user_must_send_of_a_performed_step_is_stated_as_sent()
    {
        string table = StepSurvey.Write();
        Dictionary<string, string[]> rows = table.Split('\n').Skip(2).Select(line => line.Trim('|').Split('|').Select(cell => cell.Trim()).ToArray())
            .Where(cells => cells.Length == 8).ToDictionary(cells => cells[0], StringComparer.Ordinal);
        foreach (PerformedStepRow row in PerformedStepTable.Groups["step"])
        {
            if (row.Create is "1" or "2")
            {
                Assert.Contains(rows[row.Keyword][4], row.Create == "1" ? ["ALWAYS"] : (string[])["ALWAYS", "VNAP", "EMPTY"]);
            }

            if (row.Set == "-" && rows.TryGetValue(row.Keyword, out string[]? cells))
            {
                Assert.Equal("", cells[6]);
            }
        }

        // Read by a person in StepMessages: the status is always told, images where there are any.
        Assert.Equal(["PerformedProcedureStepStatus", "(0040,0252)", "CS", "1", "ALWAYS", "3", "ALWAYS", "1"], rows["PerformedProcedureStepStatus"]);
        Assert.Equal("ANAP", rows["PerformedProcedureStepDiscontinuationReasonCodeSequence"][6]);
        Assert.Equal("ALWAYS", rows["PerformedSeriesSequence>ReferencedImageSequence>ReferencedSOPInstanceUID"][6]);
        Assert.Equal("VNAP", rows["ScheduledStepAttributesSequence>AccessionNumber"][4]);
        Assert.Contains(table, Statement.Value, StringComparison.Ordinal);
    }

    [Fact]
    public void The_web_requests_are_stated_with_their_media_types()
    {
        // PS3.18 sections 10.4 to 10.6, edition 2025e.
        AssertLine("| STOW-RS store, `form: dicom` | POST {url}/studies | multipart/related; type=\"application/dicom\"; boundary=... | application/dicom+json, application/dicom+xml; q=0.5 |");
        AssertLine("| STOW-RS store, `form: metadata` | POST {url}/studies | multipart/related; type=\"application/dicom+json\"; boundary=... |");
        AssertLine("| QIDO-RS search, `confirm_by: query` | GET {url}/studies/{study}/series/{series}/instances?limit=");
        AssertLine("| WADO-RS retrieve, `confirm_by: retrieval` | GET {url}/studies/{study}/series/{series}/instances/{instance} | | multipart/related; type=\"application/dicom\"; transfer-syntax=* |");
    }

    [Theory]
    [InlineData("| 200 | counts as received; the server is asked whether it has it before anything is sent again |")]
    [InlineData("| 400 | refused: not sent again by itself | each is sent again alone | goes on |")]
    [InlineData("| 401 | sent again | sent again | paused |")]
    [InlineData("| 413 | refused: not sent again by itself | each is sent again alone | goes on |")]
    [InlineData("| 503 | sent again | sent again | paused |")]
    [InlineData("| 404 | an empty list: what is asked for is not there | it is not there |")]
    [InlineData("| 500 | says nothing: asked again | says nothing: asked again |")]
    public void What_each_answer_of_a_web_server_leads_to_is_stated(string row) => AssertLine(row);

    [Fact]
    public void The_settings_of_all_services_are_stated()
    {
        foreach (string setting in (string[])["listen.port", "performed_step.called_ae_title", "destinations[2].url", "destinations[2].oauth.secret_file", "destinations[2].proxy_user"])
        {
            AssertLine($"| `{setting}` | ");
        }
    }

    [Fact]
    public void The_statement_of_a_site_names_its_listener_and_its_web_archives()
    {
        string statement = StatementText.Write(ConfigurationFile.Load(Path.Combine(Repository.Root, "deploy", "camerabridge.example.yaml")));

        Assert.Contains("| Report | CAMERABRIDGE | any, to 0.0.0.0 | 11113 |", statement, StringComparison.Ordinal);
        Assert.Contains("| Web user agent | (none) | cloud at https://archive.hollinvale.example/dicom-web | 443 | 15 s, 120 s | up to 4 requests, and 1 for clips; confirmed by query |", statement, StringComparison.Ordinal);
    }

    private static void AssertLine(string beginning) =>
        Assert.True(Statement.Value.Split('\n').Any(line => line.StartsWith(beginning, StringComparison.Ordinal)), $"No line of the statement begins with: {beginning}");
}
