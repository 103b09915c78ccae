using System.Globalization;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// Why a sitting was filed or held, in one sentence with numbers, made of the evidence that is kept with the decision: "label read in picture 1, one open step for it at
/// 10:20, station agrees, clock +3 min 12 s +/- 4 s". Names no patient.
/// </summary>
internal static class EvidenceSentence
{
    /// <summary>The sentence; empty where nothing was decided.</summary>
    /// <param name="match">The decision.</param>
    /// <param name="captures">The sitting's captures in their order.</param>
    /// <param name="cues">Their cues.</param>
    public static string Of(Match? match, IReadOnlyList<Capture> captures, IReadOnlyList<Cue> cues)
    {
        if (match is null)
        {
            return "";
        }

        string evidence = string.Join(", ", match.Evidence.Select(reason => Part(reason, match, captures, cues)).OfType<string>());
        return match.StepJson is not null ? evidence
            : string.Join("; ", match.HeldReasons.Select(reason => reason.Words.TrimEnd('.')).Append(evidence).Where(part => part.Length > 0));
    }

    /// <summary>Short where a longer sentence stands among the evidence; null for what says nothing by itself.</summary>
    private static string? Part(Reason reason, Match match, IReadOnlyList<Capture> captures, IReadOnlyList<Cue> cues) => reason.Code switch
    {
        "by-label" => $"label read in {Pictures(captures, cues)}",
        "by-sidecar" => "sidecar file read",
        "by-folder-name" => "folder's name read",
        "by-file-name" => "file names read",
        "only-step" => $"one open step for it{At(match)}",
        "station" => "station agrees",
        "modality" => "modality agrees",
        CameraClock.Known => reason.Words.Split(", by ", 2)[0],
        "patient" or "issuer" or "order" or "day" => null,
        _ => reason.Words,
    };

    /// <summary>"picture 1", "pictures 1 and 4".</summary>
    private static string Pictures(IReadOnlyList<Capture> captures, IReadOnlyList<Cue> cues)
    {
        HashSet<long> labels = [.. cues.Where(cue => cue.Kind == CueKind.Label).Select(cue => cue.CaptureId)];
        string[] numbers =
        [
            .. captures.Where(capture => !Sidecar.IsSidecar(capture.Place)).Select((capture, index) => (capture.Id, Number: (index + 1).ToString(CultureInfo.InvariantCulture)))
                .Where(pair => labels.Contains(pair.Id)).Select(pair => pair.Number),
        ];
        return numbers.Length == 0 ? "a picture" : $"picture{(numbers.Length == 1 ? "" : "s")} {string.Join(" and ", numbers)}";
    }

    private static string At(Match match) => match.StepJson is { } json && WorklistStep.FromJson(json) is { StartTime: { } time }
        ? string.Create(CultureInfo.InvariantCulture, $" at {time:HH\\:mm}")
        : "";
}
