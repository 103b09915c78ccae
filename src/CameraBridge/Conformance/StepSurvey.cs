using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Web;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.PerformedSteps;

namespace CameraBridge.Conformance;

/// <summary>
/// What the messages of a performed procedure step hold, found by making them as the flow does, of an order that says everything and of one that says the least, for
/// a sitting that became objects and for one that did not.
/// </summary>
internal static class StepSurvey
{
    private static readonly DateTimeOffset Morning = new(2026, 1, 2, 9, 30, 0, TimeSpan.FromHours(1));

    private static readonly SiteConfiguration Bare = new() { SpoolFolder = "", StateFile = "" };

    private static readonly SiteConfiguration Full = Bare with
    {
        Sources = [new SourceConfiguration { Name = "sample", Folder = "", StationAETitle = "A", StationName = "A" }],
    };

    /// <summary>The attributes in the order of PS3.4 Table F.7.2-1, with what the user must send and what is sent.</summary>
    public static string Write()
    {
        PresenceCounts created = new(), ended = new();
        foreach ((PerformedStepTask task, SiteConfiguration site) in Samples())
        {
            created.Add(AttributePaths.Of(StepMessages.Start(task, site).ToDataSet()));
            ended.Add(AttributePaths.Of(StepMessages.End(task, site).ToDataSet()));
        }

        return Markdown.Table(
            ["Attribute", "Tag", "VR", "Type in N-CREATE", "N-CREATE", "Type in N-SET", "N-SET", "Type in the end"],
            Rows("step", "").Where(row => created.Of(row.Path) != Presence.Never || ended.Of(row.Path) != Presence.Never).Select(row => (IReadOnlyList<string>)
            [
                row.Path, row.Row.Tag.ToString(), $"{TagDictionary.VrOf(row.Row.Tag)}", row.Row.Create, PresenceCounts.Word(created.Of(row.Path)), row.Row.Set, PresenceCounts.Word(ended.Of(row.Path)),
                row.Row.Final,
            ]));
    }

    private static IEnumerable<(string Path, PerformedStepRow Row)> Rows(string group, string above) => PerformedStepTable.Groups[group].SelectMany(row =>
        ((string, PerformedStepRow)[])[(above + row.Keyword, row), .. row.Group is null ? [] : Rows(row.Group, $"{above}{row.Keyword}{AttributePaths.Step}")]);

    private static IEnumerable<(PerformedStepTask Task, SiteConfiguration Site)> Samples()
    {
        foreach ((DataSet order, SiteConfiguration site) in new[] { (SampleFacts.FullStep(), Full), (SampleFacts.LeastStep(), Bare) })
        {
            yield return (TaskOf(order, hasObjects: true), site);
            yield return (TaskOf(order, hasObjects: false), site);
        }
    }

    private static PerformedStepTask TaskOf(DataSet order, bool hasObjects)
    {
        ImagingObject[] objects = hasObjects
            ? [new ImagingObject { CaptureId = 1, SOPClassUID = "1.2.1", SOPInstanceUID = "2.25.12", SeriesInstanceUID = "2.25.11", TransferSyntaxUID = "1.2.2", Pieces = [], Destinations = [] }]
            : [];
        ObjectSeries series = new() { SeriesInstanceUID = "2.25.11", Optic = "general", Equipment = "" };
        return new PerformedStepTask(
            new Work(1, Stage.PerformedSteps, 1, "", 0, Morning),
            new PerformedStep { Id = 1, SittingId = 1, SOPInstanceUID = "2.25.10", BeginsAt = Morning, IsFirst = true },
            new Sitting { Id = 1, Source = "sample", Folder = "", OpenedAt = Morning },
            new Match { SittingId = 1, StepJson = Encoding.UTF8.GetString(DicomJson.WriteArray([order])) },
            [],
            objects,
            [series]);
    }
}
