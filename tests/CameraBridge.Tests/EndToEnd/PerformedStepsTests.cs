using System.Text.Json;
using CameraBridge.Commands;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Pipeline;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>The RIS of npm's dcmjs-dimse 0.3.3 is told of each filed sitting (PS3.4 Annex F), and one that is away holds up no picture.</summary>
public sealed class PerformedStepsTests : IDisposable
{
    private readonly TestSite site = new();

    public void Dispose() => site.Dispose();

    [Fact]
    public async Task The_RIS_is_told_the_beginning_and_the_end_of_each_filed_sitting_with_its_images()
    {
        StickPlan plan = OutsidePeersTests.DrawStick(site);
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), OutsidePeersTests.Orders(plan));
        await using PeerProcess ris = await NodePeer.StartAsync();
        Configure(hospital, ris.Port);

        Run run = await site.OnceAsync();

        Assert.True(run.ExitCode == ExitCodes.Held, run.Errors + run.Output);
        Assert.Empty(run.Report.UntoldSteps);
        JsonElement[] told = [.. ris.Output.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(line => JsonDocument.Parse(line).RootElement.Clone())];
        Dictionary<string, JsonElement> created = told.Where(one => What(one) == "created").ToDictionary(one => Text(one, "uid"));
        Dictionary<string, JsonElement> ended = told.Where(one => What(one) == "set").ToDictionary(one => Text(one, "uid"));
        int filed = run.Report.Sittings.Count(sitting => sitting.State == SittingState.Matched);
        Assert.Equal(filed, created.Count);
        Assert.Equal(created.Keys.Order(), ended.Keys.Order());
        Assert.All(told, one => Assert.Equal(0, one.GetProperty("status").GetInt32()));

        // Every object stands in the step that it names, in its series (PS3.3 sections C.7.3.1 and C.4.15).
        HashSet<(string Step, string Series, string Image)> listed = [.. ended.SelectMany(end => List(end.Value.GetProperty("changes").GetProperty("PerformedSeriesSequence"))
            .SelectMany(series => List(series.GetProperty("ReferencedImageSequence"))
                .Select(image => (end.Key, Text(series, "SeriesInstanceUID"), Text(image, "ReferencedSOPInstanceUID")))))];
        HashSet<(string Step, string Series, string Image)> filedObjects = [.. Directory.EnumerateFiles(hospital.ArchiveFolder)
            .Select(path => Part10File.Open(path).DataSet)
            .Select(made => (
                made.GetItem(Tags.ReferencedPerformedProcedureStepSequence)!.GetString(Tags.ReferencedSOPInstanceUID)!,
                made.GetString(Tags.SeriesInstanceUID)!,
                made.GetString(Tags.SOPInstanceUID)!))];
        Assert.Equal(filedObjects.Order(), listed.Order());
        Assert.All(ended.Values, end => Assert.Equal("COMPLETED", Text(end.GetProperty("changes"), "PerformedProcedureStepStatus")));
        Assert.All(await Judged.ObjectsAsync(Directory.EnumerateFiles(hospital.ArchiveFolder)), judged => Assert.Empty(judged.Lines("dciodvfy_errors")));
    }

    [Fact]
    public async Task A_RIS_that_is_away_holds_up_no_picture_and_is_told_when_it_is_back()
    {
        StickPlan plan = OutsidePeersTests.DrawStick(site);
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), OutsidePeersTests.Orders(plan));
        Configure(hospital, PeerProcess.FreePort());

        Run away = await site.OnceAsync(more: ["--patience", "3 s"]);

        Assert.True(away.ExitCode == ExitCodes.Held, away.Errors + away.Output);
        Assert.All(away.Report.Sittings.SelectMany(sitting => sitting.Deliveries), delivery => Assert.Equal(0, delivery.Undelivered));
        Assert.Equal(away.Report.Sittings.Count(sitting => sitting.State == SittingState.Matched), away.Report.UntoldSteps.Count);

        await using PeerProcess ris = await NodePeer.StartAsync();
        Configure(hospital, ris.Port);
        Run back = await site.OnceAsync();

        Assert.True(back.ExitCode == ExitCodes.Held, back.Errors + back.Output);
        Assert.Empty(back.Report.UntoldSteps);
        Assert.Equal(away.Report.UntoldSteps.Count, ris.Output.Split("\"what\":\"set\"").Length - 1);
    }

    [Fact]
    public async Task A_sitting_that_gave_no_object_is_discontinued_with_a_reason_and_what_a_person_frees_later_is_told_in_another_step()
    {
        site.WriteFolder("0001", TestPictures.Label("PID:STEP1", 1), TestPictures.Still(1, 128, 96), TestPictures.Still(2, 128, 96));
        Order order = new("Step^Appended", "STEP1", "ACCSTEP1", "2.25.82001", TestSite.Station, "OP", DateOnly.FromDateTime(DateTime.UtcNow), "SPSSTEP1");
        await using OutsideHospital hospital = await OutsideHospital.StartAsync(Path.Combine(site.Folder, "hospital"), [order]);
        await using PeerProcess ris = await NodePeer.StartAsync();
        site.SourceLines = "    optic: retina\n    device: { manufacturer: Invented Optics, model: Fundus 1, serial_number: F1, software: '1' }";
        Configure(hospital, ris.Port);

        // Retinas without a side never leave.
        Run first = await site.OnceAsync();
        Assert.True(first.ExitCode == ExitCodes.Held, first.Errors + first.Output);
        Run assigned = await TestSite.RunAsync(["held", "assign", "1", "--step", "SPSSTEP1", "--by", "R. Example", "--say", "side=R", "--config", site.ConfigurationFile]);
        Assert.True(assigned.ExitCode == ExitCodes.AllWell, assigned.Errors + assigned.Output);
        Run second = await site.OnceAsync();

        Assert.True(second.ExitCode == ExitCodes.AllWell, second.Errors + second.Output);
        JsonElement[] told = [.. ris.Output.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(line => JsonDocument.Parse(line).RootElement.Clone())];
        Assert.Equal(["created", "set", "created", "set"], told.Select(What));
        Assert.All(told, one => Assert.Equal(0, one.GetProperty("status").GetInt32()));
        Assert.Equal(Text(told[0], "uid"), Text(told[1], "uid"));
        Assert.Equal(Text(told[2], "uid"), Text(told[3], "uid"));
        Assert.NotEqual(Text(told[0], "uid"), Text(told[2], "uid"));
        JsonElement given = told[1].GetProperty("changes"), appended = told[3].GetProperty("changes");
        Assert.Equal("DISCONTINUED", Text(given, "PerformedProcedureStepStatus"));

        // PS3.16 CID 9300, edition 2025e: "Discontinued for unspecified reason".
        Assert.Equal("110513", Text(Assert.Single(List(given.GetProperty("PerformedProcedureStepDiscontinuationReasonCodeSequence"))), "CodeValue"));
        Assert.Equal("COMPLETED", Text(appended, "PerformedProcedureStepStatus"));
        string[] listed = [.. List(appended.GetProperty("PerformedSeriesSequence")).SelectMany(series => List(series.GetProperty("ReferencedImageSequence")))
            .Select(image => Text(image, "ReferencedSOPInstanceUID")).Order(StringComparer.Ordinal)];
        Assert.Equal(
            Directory.EnumerateFiles(hospital.ArchiveFolder).Select(path => Part10File.Open(path).DataSet.GetString(Tags.SOPInstanceUID)!).Order(StringComparer.Ordinal), listed);
        Assert.Equal(2, listed.Length);
    }

    private void Configure(OutsideHospital hospital, int risPort)
    {
        site.ClearDestinations();
        site.UseWorklist(hospital.Worklist.Port, OutsideHospital.WorklistAETitle);
        site.AddDestination("archive", hospital.Archive.Port, OutsideHospital.ArchiveAETitle);
        site.MoreLines = $"performed_step: {{ host: 127.0.0.1, port: {risPort}, called_ae_title: {NodePeer.AETitle}, first_retry_delay: 1 s, longest_retry_delay: 1 s, connect_limit: 1 s }}";
        site.WriteConfiguration();
    }

    private static string What(JsonElement one) => Text(one, "what");

    private static string Text(JsonElement one, string name) => one.GetProperty(name).GetString()!;

    /// <summary>dcmjs writes a sequence of one item as that item.</summary>
    private static JsonElement[] List(JsonElement sequence) => sequence.ValueKind == JsonValueKind.Array ? [.. sequence.EnumerateArray()] : [sequence];
}
