using CameraBridge.Pipeline.Sittings.Cues.Cards;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// Which scale card holds for each picture of a sitting: the last one before it that was photographed through the same optic. A card that could not be
/// measured ends the one before, since somebody saw a reason to photograph it anew.
/// </summary>
internal sealed class SittingScales
{
    private readonly Dictionary<long, ScaleMeasure> _ofPicture = [];

    /// <param name="captures">Of the sitting, in their order.</param>
    /// <param name="cues">Of the sitting.</param>
    /// <param name="opticOf">The name of the optic that a capture was taken through.</param>
    public SittingScales(IReadOnlyList<Capture> captures, IReadOnlyList<Cue> cues, Func<Capture, string> opticOf)
    {
        ILookup<long, Cue> cards = cues.Where(cue => cue.Card is { Key: CardKeys.Scale }).ToLookup(cue => cue.CaptureId);
        var holding = new Dictionary<string, ScaleMeasure?>(StringComparer.Ordinal);
        foreach (Capture capture in captures)
        {
            string optic = opticOf(capture);
            Cue[] own = [.. cards[capture.Id]];
            if (own.Length > 0)
            {
                // Two in one picture: nobody can tell which one lies where the pictures after them are taken.
                holding[optic] = own.Length == 1 ? own[0].Scale : null;
            }
            else if (holding.GetValueOrDefault(optic) is { } scale)
            {
                _ofPicture[capture.Id] = scale;
            }
        }
    }

    /// <summary>The scale of a picture that has so many columns and rows; null where none is known. Another size is another zoom.</summary>
    public ScaleMeasure? Of(Capture capture, int columns, int rows) =>
        _ofPicture.TryGetValue(capture.Id, out ScaleMeasure? scale)
        && ((scale.Columns == columns && scale.Rows == rows) || (scale.Columns == rows && scale.Rows == columns))
            ? scale
            : null;
}
