using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Objects;

/// <summary>What the cues of a sitting say of each of its pictures: a person's word over the picture's sidecar, and that over the folder's.</summary>
internal sealed class SittingCues
{
    private readonly HashSet<long> evidence;
    private readonly Dictionary<string, (string? Optic, OpticValues Said)> ofPicture = [];
    private readonly (string? Optic, OpticValues Said) ofFolder = (null, OpticValues.None);

    public SittingCues(IReadOnlyList<Capture> captures, IReadOnlyList<Cue> cues)
    {
        evidence = [.. cues.Where(cue => cue.Kind is CueKind.Label or CueKind.Sidecar or CueKind.Card).Select(cue => cue.CaptureId)];
        Dictionary<long, Capture> byId = captures.ToDictionary(capture => capture.Id);
        foreach (Cue cue in cues.Where(cue => cue.Kind == CueKind.Sidecar))
        {
            // The folder's own may lie with another part of it.
            if (!byId.TryGetValue(cue.CaptureId, out Capture? own) || Sidecar.PictureOf(own.Place) is null)
            {
                ofFolder = (cue.Optic, SaidBy(cue));
            }
        }

        foreach (Cue cue in cues.Where(cue => cue.Kind == CueKind.Sidecar))
        {
            if (byId.TryGetValue(cue.CaptureId, out Capture? own) && Sidecar.PictureOf(own.Place) is { } picture)
            {
                ofPicture[picture] = (cue.Optic ?? ofFolder.Optic, SaidBy(cue).Over(ofFolder.Said));
            }
        }

        foreach (Cue cue in cues.Where(cue => cue.Kind == CueKind.Decision))
        {
            if (byId.TryGetValue(cue.CaptureId, out Capture? picture))
            {
                (string? optic, OpticValues said) = Of(picture);
                OpticValues byHand = SaidBy(cue).Over(said);
                ofPicture[picture.Place] = (cue.Optic ?? optic, cue.Side is null ? byHand : byHand.With(OpticPart.ByHandKey, ValueKeys.Side));
            }
        }
    }

    /// <summary>True for a label shot, a sidecar and a card: they say something of pictures and are none.</summary>
    public bool IsEvidence(Capture capture) => evidence.Contains(capture.Id);

    /// <summary>Name of the optic, or null when no cue says it, and what else is said.</summary>
    public (string? Optic, OpticValues Said) Of(Capture capture) => ofPicture.TryGetValue(capture.Place, out (string? Optic, OpticValues Said) own) ? own : ofFolder;

    private static OpticValues SaidBy(Cue cue) => cue.Side is { } side ? cue.Values.With(ValueKeys.Side, side) : cue.Values;
}
