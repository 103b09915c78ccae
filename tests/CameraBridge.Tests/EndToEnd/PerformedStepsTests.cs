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
