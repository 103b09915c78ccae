using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Matches;

namespace CameraBridge.Conformance;

/// <summary>What becomes of each attribute of a workitem, found by making steps of workitems that have it alone.</summary>
internal static class WorkitemSurvey
{
    private const string Text = "ZZ";

    /// <summary>The table: attribute of the Unified Procedure Step, and the key of the modality worklist that it stands for.</summary>
    public static string Write() => Markdown.Table(
        ["Unified Procedure Step", "Stands for, in the words of the modality worklist"],
        Samples().Select(sample => (IReadOnlyList<string>)[sample.Path, string.Join(", ", Found(sample.Workitem))]).Where(row => row[1].Length > 0));

    private static IEnumerable<(string Path, DataSet Workitem)> Samples()
    {
        foreach (Element key in Workitem.ToIdentifier(new WorklistQuestion()).Where(key => key.Vr != Vr.SQ))
        {
            DataSet workitem = new();
            Put(workitem, key.Tag, key.Vr);
            yield return (NameOf(key.Tag), workitem);
        }

        foreach ((Tag sequence, Tag[] tags) in new[]
        {
            (Tags.ReferencedRequestSequence, Workitem.RequestKeys.ToArray()), (Tags.ScheduledStationNameCodeSequence, [Tags.CodeValue]), (Tags.ScheduledHumanPerformersSequence, [Tags.HumanPerformerName]),
        })
        {
            foreach (Tag tag in tags.Where(tag => TagDictionary.VrOf(tag) != Vr.SQ))
            {
                DataSet item = new();
                Put(item, tag, TagDictionary.VrOf(tag));
                DataSet workitem = new();
                workitem.SetItems(sequence, item);
                yield return ($"{NameOf(sequence)} > {NameOf(tag)}", workitem);
            }
        }
    }

    private static IEnumerable<string> Found(DataSet workitem)
    {
        DataSet answer = Workitem.ToAnswers(workitem, TimeZoneInfo.Utc).Single();
        return answer.Concat(answer.GetItem(Tags.ScheduledProcedureStepSequence)!).Where(element => element.Vr != Vr.SQ && !element.IsEmpty).Select(element => NameOf(element.Tag));
    }

    private static void Put(DataSet holder, Tag tag, Vr vr)
    {
        if (vr == Vr.US)
        {
            holder.SetInt(tag, 1);
            return;
        }

        holder.Set(tag, vr switch
        {
            Vr.DT => "20260101120000",
            Vr.DA => "20260101",
            Vr.UI => "1.2",
            Vr.DS => "1",
            _ => Text,
        });
    }

    private static string NameOf(Tag tag) => TagDictionary.Find(tag)!.Keyword;
}
