using System.Globalization;

namespace CameraBridge.Pipeline.Sittings.Cues.Cards;

/// <summary>What a photographed cue card says.</summary>
/// <param name="Key">A word of <see cref="CardKeys"/>.</param>
/// <param name="Value">
/// In the kept form of the key: side R, L or B; optic by its name; site by its code value; tooth by designations of ISO 3950 with '+' between them; done
/// "patient"; ignore "last"; clock as yyyyMMdd'T'HHmmss'Z' (UTC); scale in tenths of a millimetre.
/// </param>
internal sealed record CardCue(string Key, string Value)
{
    /// <summary>The instant that a clock card tells, to the second; null for other cards.</summary>
    public DateTimeOffset? Clock => Key == CardKeys.Clock
        ? DateTimeOffset.ParseExact(Value, CardKeys.ClockForm, CultureInfo.InvariantCulture, DateTimeStyles.AssumeUniversal | DateTimeStyles.AdjustToUniversal)
        : null;

    /// <summary>
    /// The printed length that a scale card tells, in millimetres: the side of its code from outer edge to outer edge of the finder patterns, without the
    /// quiet zone. Null for other cards.
    /// </summary>
    public decimal? ScaleMillimetres => Key == CardKeys.Scale ? decimal.Parse(Value, NumberStyles.None, CultureInfo.InvariantCulture) / 10 : null;
}
