using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;

namespace CameraBridge.Conformance;

/// <summary>How a key of the worklist query is used.</summary>
/// <param name="Path">Its path.</param>
/// <param name="IsAsked">False when it is taken where a worklist sends it though it is not asked for.</param>
/// <param name="IsMatched">True when the query may carry a value to match.</param>
/// <param name="Decides">True when an answer with another value is no match.</param>
/// <param name="Ranks">True when it only orders the proposals.</param>
/// <param name="Targets">Attributes of the objects that change with it.</param>
internal sealed record WorklistKey(string Path, bool IsAsked, bool IsMatched, bool Decides, bool Ranks, IReadOnlyList<string> Targets);

/// <summary>The keys of the worklist query and what becomes of each, found by asking, judging and mapping with one key changed at a time.</summary>
internal static class WorklistKeys
{
    private const string ID = "A", Order = "A", Station = "A";

    public static IReadOnlyList<WorklistKey> Find(IReadOnlyList<ClassSurvey> surveys)
    {
        IReadOnlyDictionary<string, string> asked = AttributePaths.Of(new WorklistQuestion().ToIdentifier());
        IReadOnlyDictionary<string, string> matched = AttributePaths.Of(new WorklistQuestion
        {
            StationAETitle = "A",
            Modality = "A",
            PatientID = "A",
            AccessionNumber = "A",
            ScheduledProcedureStepID = "A",
            From = new DateOnly(2026, 1, 1),
            To = new DateOnly(2026, 1, 3),
        }.ToIdentifier());

        Dictionary<string, SortedSet<string>> targets = Targets(surveys);
        StepCheck before = Judge(SampleFacts.FullStep());
        var keys = new List<WorklistKey>();
        foreach (string path in asked.Keys.Where(path => path != "SpecificCharacterSet" && !IsSequence(path)))
        {
            StepCheck after = Judge(Changed(path));
            keys.Add(new WorklistKey(
                path,
                true,
                matched[path].Length > 0,
                before.Fits && !after.Fits,
                Math.Abs(before.Distance - after.Distance) > 1e-9,
                targets.TryGetValue(path, out SortedSet<string>? found) ? [.. found] : []));
        }

        keys.AddRange(targets.Where(target => !asked.ContainsKey(target.Key)).OrderBy(target => target.Key, StringComparer.Ordinal)
            .Select(target => new WorklistKey(target.Key, false, false, false, false, [.. target.Value])));
        return keys;
    }

    private static bool IsSequence(string path) => TagDictionary.Find(path[(path.LastIndexOf(AttributePaths.Step) + 1)..])!.Vr == Vr.SQ;

    private static Dictionary<string, SortedSet<string>> Targets(IReadOnlyList<ClassSurvey> surveys)
    {
        var targets = new Dictionary<string, SortedSet<string>>(StringComparer.Ordinal);
        foreach (ClassSurvey survey in surveys)
        {
            foreach (string path in survey.Paths.Where(path => !IsSequence(path)))
            {
                foreach (string origin in survey.OriginsOf(path).Where(origin => origin.StartsWith(Origin.Worklist + " ", StringComparison.Ordinal)))
                {
                    string key = origin[(Origin.Worklist.Length + 1)..];
                    if (!targets.TryGetValue(key, out SortedSet<string>? found))
                    {
                        targets.Add(key, found = new SortedSet<string>(StringComparer.Ordinal));
                    }

                    found.Add(path);
                }
            }
        }

        return targets;
    }

    private static DataSet Changed(string path)
    {
        DataSet item = SampleFacts.FullStep();
        DataSet holder = item;
        string[] parts = path.Split(AttributePaths.Step);
        foreach (string part in parts[..^1])
        {
            holder = holder.GetItem(TagDictionary.Find(part)!.Tag)!;
        }

        Tag tag = TagDictionary.Find(parts[^1])!.Tag;
        SampleFacts.Put(holder, tag, SampleFacts.Second);
        if (tag == Tags.ScheduledProcedureStepStartDate)
        {
            holder.SetDate(tag, new DateOnly(2026, 3, 2));
        }

        return item;
    }

    private static StepCheck Judge(DataSet item)
    {
        item.Remove(Tags.IssuerOfAccessionNumberSequence);
        DataSet step = item.GetItem(Tags.ScheduledProcedureStepSequence)!;
        if (step.GetString(Tags.ScheduledProcedureStepStatus) == "A")
        {
            step.Set(Tags.ScheduledProcedureStepStatus, "SCHEDULED");
        }

        var cue = new Cue { CaptureId = 1, Kind = CueKind.Sidecar, PatientID = ID, IssuerOfPatientID = "A", AccessionNumber = Order };
        return StepCheck.Of(WorklistStep.Of(item).First(), new MatchCircumstances
        {
            Identity = Identity.Of(new Sitting { Source = "sample", Folder = "" }, [], [cue]),
            First = new DateTimeOffset(2026, 1, 2, 9, 0, 0, TimeSpan.Zero),
            Last = new DateTimeOffset(2026, 1, 2, 9, 0, 0, TimeSpan.Zero),
            StationAETitle = Station,
            Modality = "A",
            RequireStation = true,
            RequireModality = true,
            DaysAround = 1,
            Worklist = "the worklist",
        });
    }
}
