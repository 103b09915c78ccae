using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// What the cues of a sitting say of each of its pictures: a person's word over the picture's own sidecar, that over the cards before it, and those over the
/// folder's sidecar.
/// </summary>
internal sealed class SittingCues
{
    private readonly HashSet<long> evidence;
    private readonly CardActs cards;
    private readonly Dictionary<long, (string? Optic, OpticValues Said)> ofPicture = [];

    public SittingCues(Sitting sitting, IReadOnlyList<Capture> captures, IReadOnlyList<Cue> cues)
    {
        evidence = [.. cues.Where(cue => cue.Kind is CueKind.Label or CueKind.Sidecar or CueKind.Card).Select(cue => cue.CaptureId)];
        cards = new CardActs(sitting, captures, cues);
        Dictionary<long, Capture> byId = captures.ToDictionary(capture => capture.Id);
        (string? Optic, OpticValues Said) ofFolder = (null, OpticValues.None);
        var own = new Dictionary<string, Cue>();
        foreach (Cue cue in cues.Where(cue => cue.Kind == CueKind.Sidecar))
        {
            // The folder's own may lie with another part of it.
            if (byId.TryGetValue(cue.CaptureId, out Capture? sidecar) && Sidecar.PictureOf(sidecar.Place) is { } picture)
            {
                own[picture] = cue;
            }
            else
            {
                ofFolder = (cue.Optic, SaidBy(cue));
            }
        }

        foreach (Capture capture in captures)
        {
            (string? optic, OpticValues said) = cards.Of(capture.Id);
            (string? Optic, OpticValues Said) all = (optic ?? ofFolder.Optic, said.Over(ofFolder.Said));
            ofPicture[capture.Id] = own.TryGetValue(capture.Place, out Cue? sidecar) ? (sidecar.Optic ?? all.Optic, SaidBy(sidecar).Over(all.Said)) : all;
        }

        foreach (Cue cue in cues.Where(cue => cue.Kind == CueKind.Decision))
        {
            if (byId.TryGetValue(cue.CaptureId, out Capture? picture))
            {
                (string? optic, OpticValues said) = Of(picture);
                OpticValues byHand = SaidBy(cue).Over(said);
                ofPicture[picture.Id] = (cue.Optic ?? optic, cue.Side is null ? byHand : byHand.With(OpticPart.ByHandKey, ValueKeys.Side));
            }
        }
    }

    /// <summary>True for a label shot, a card, a sidecar, which say something of pictures and are none, and for a picture that a card takes back.</summary>
    public bool IsEvidence(Capture capture) => evidence.Contains(capture.Id) || TakenBack(capture) is not null;

    /// <summary>Why a picture is no more than evidence; null for those that are to be filed, and for what is no picture.</summary>
    public Reason? TakenBack(Capture capture) => cards.TakenBack(capture.Id);

    /// <summary>Name of the optic, or null when no cue says it, and what else is said.</summary>
    public (string? Optic, OpticValues Said) Of(Capture capture) => ofPicture[capture.Id];

    private static OpticValues SaidBy(Cue cue) => cue.Side is { } side ? cue.Values.With(ValueKeys.Side, side) : cue.Values;
}
