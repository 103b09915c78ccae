using CameraBridge.Persistence;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Cards;

namespace CameraBridge.Pipeline.Sittings;

/// <summary>
/// Divides the captures of a folder into sittings, one patient each. Pure: captures and cues in, parts out.
/// <list type="bullet">
/// <item>A label that says something else than the label in force begins a part; the same label again, or one that says less, does not.</item>
/// <item>Label shots in a row without a picture between them that do not contradict each other (a wristband, then the order sheet) are one identification.
/// If they contradict, the first of them stands alone: a patient who left.</item>
/// <item>Two labels in one picture begin one part that bears both; matching holds it.</item>
/// <item>A picture that could not be looked at may have been a label: it begins a part, and no label before it reaches there. Several in a row are one part.</item>
/// <item>A card that says that the patient is done ends a part: what follows begins another, without the label before it.</item>
/// <item>Cards that come before the first label and the first picture belong to that label's part.</item>
/// <item>What speaks for the whole folder (its name, its sidecar) speaks for every part; a picture's own sidecar lies with its picture.</item>
/// <item>A part without anything to file is empty.</item>
/// </list>
/// </summary>
internal static class SittingDivision
{
    /// <param name="sitting">The sitting to be closed.</param>
    /// <param name="captures">Its captures.</param>
    /// <param name="cues">Their cues.</param>
    /// <returns>At least one part; every capture is in exactly one.</returns>
    public static IReadOnlyList<SittingPart> Divide(Sitting sitting, IReadOnlyList<Capture> captures, IReadOnlyList<Cue> cues)
    {
        ILookup<long, Cue> cuesOf = cues.ToLookup(cue => cue.CaptureId);
        HashSet<long> divides = [.. cues.Where(cue => cue.Kind is CueKind.Label or CueKind.Unreadable or CueKind.Card).Select(cue => cue.CaptureId)];
        Capture[] sidecars = [.. captures.Where(capture => Sidecar.IsSidecar(capture.Place))];
        (IReadOnlyList<Capture> pictures, string? doubt) = CaptureOrder.Of([.. captures.Except(sidecars)], divides);

        var parts = new List<Part>();
        foreach (Capture picture in pictures)
        {
            Label[] labels = [.. cuesOf[picture.Id].Where(cue => cue.Kind == CueKind.Label).Select(Label.Of).Distinct()];
            Cue[] cards = [.. cuesOf[picture.Id].Where(cue => cue.Kind == CueKind.Card)];
            bool unreadable = cuesOf[picture.Id].Any(cue => cue.Kind == CueKind.Unreadable);
            if (parts.Count == 0)
            {
                parts.Add(new Part(unreadable ? SittingBegins.Unreadable : sitting.Begins));
            }
            else if (unreadable && !parts[^1].IsUnreadableSoFar)
            {
                parts.Add(new Part(SittingBegins.Unreadable));
            }
            else if (!unreadable && labels.Length > 0 && !parts[^1].Accepts(labels))
            {
                parts.Add(new Part(SittingBegins.Label));
            }
            else if (parts[^1].IsDone && (cards.Length == 0 || Array.Exists(cards, cue => cue.Card?.Key != CardKeys.Done)))
            {
                parts.Add(new Part(SittingBegins.Done));
            }

            parts[^1].Add(picture, labels, cards, unreadable);
        }

        if (parts.Count == 0)
        {
            parts.Add(new Part(sitting.Begins));
        }

        long[] ofFolder = [.. PlaceSidecars(sidecars, parts)];
        return [.. parts.Select(part => new SittingPart(part.CaptureIds, part.Begins, part.IsEmpty)
        {
            Doubt = divides.Count > 0 ? doubt : null,
            FolderEvidence = [.. ofFolder.Except(part.CaptureIds)],
        })];
    }

    /// <summary>Puts each sidecar into the part of its picture, and those of the folder into the first part.</summary>
    /// <returns>Those of the folder.</returns>
    private static List<long> PlaceSidecars(Capture[] sidecars, List<Part> parts)
    {
        var ofFolder = new List<long>();
        foreach (Capture sidecar in sidecars.OrderBy(capture => capture.Place, PlaceOrder.Natural))
        {
            string? picture = Sidecar.PictureOf(sidecar.Place);
            Part home = parts.Find(part => picture is not null && part.Has(picture)) ?? parts[0];
            home.AddEvidence(sidecar);
            if (picture is null)
            {
                ofFolder.Add(sidecar.Id);
            }
        }

        return ofFolder;
    }

    /// <summary>A part while it grows.</summary>
    private sealed class Part(string begins)
    {
        private readonly List<long> _captureIds = [];
        private readonly HashSet<string> _places = new(StringComparer.OrdinalIgnoreCase);
        private readonly List<Label> _labels = [];
        private bool _onlyEvidence = true;
        private bool _onlyUnreadable = true;

        public string Begins { get; } = begins;

        public IReadOnlyList<long> CaptureIds => _captureIds;

        /// <summary>Nothing but labels, cards and sidecars, and no card of which a person must be asked what it was to do.</summary>
        public bool IsEmpty => _onlyEvidence;

        /// <summary>A card has said that the patient is done.</summary>
        public bool IsDone { get; private set; }

        public bool IsUnreadableSoFar => _onlyUnreadable;

        public bool Has(string place) => _places.Contains(place);

        /// <summary>Whether a picture with these labels belongs to this part.</summary>
        public bool Accepts(Label[] labels)
        {
            if (IsDone)
            {
                return false;
            }

            // A label alone after two in one picture says something clearer than they did, and so something else.
            if (labels.All(label => _labels.Exists(label.IsSaidBy)) && (_labels is [_] || _labels.TrueForAll(label => Array.Exists(labels, label.IsSaidBy))))
            {
                return true;
            }

            // Labels in a row, nothing between them: together they say who it is, unless they contradict each other. Cards alone wait for their label.
            return _onlyEvidence && (_labels.Count == 0 || (labels is [var label] && _labels is [var inForce] && !label.Contradicts(inForce)));
        }

        public void Add(Capture picture, Label[] labels, Cue[] cards, bool unreadable)
        {
            _captureIds.Add(picture.Id);
            _places.Add(picture.Place);
            _onlyEvidence &= labels.Length + cards.Length > 0 && !unreadable && !Array.Exists(cards, cue => cue.Card is null or { Key: CardKeys.Ignore });
            IsDone |= Array.Exists(cards, cue => cue.Card?.Key == CardKeys.Done);
            _onlyUnreadable &= unreadable;
            if (_labels is [var inForce] && labels is [var more] && !more.Contradicts(inForce))
            {
                _labels[0] = inForce.With(more);
                return;
            }

            _labels.AddRange(labels.Where(label => !_labels.Contains(label)));
        }

        public void AddEvidence(Capture sidecar) => _captureIds.Add(sidecar.Id);
    }
}
