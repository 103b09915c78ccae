using System.Globalization;
using System.Text;
using System.Text.RegularExpressions;

namespace CameraBridge.Pipeline.Sittings.Cues.Cards;

/// <summary>
/// The text in the code of a cue card: <c>CB1:KEY:VALUE:CHECK</c>, in capitals, such as <c>CB1:SIDE:R:D527</c>.
/// <list type="bullet">
/// <item>CB1: the version of this grammar. Another number is another version, and is not guessed at.</item>
/// <item>KEY and VALUE: see <see cref="CardKeys"/>. All letters are capitals, so that a QR code takes them in its alphanumeric mode and stays small.</item>
/// <item>CHECK: CRC-16 of everything before the last colon, as four hexadecimal digits in capitals: polynomial x^16 + x^12 + x^5 + 1 (ITU-T V.41),
/// register begun with FFFF, bits not reflected, nothing added at the end. It finds every change within 16 bits in a row, and so every single wrong
/// character and every two neighbours that changed places.</item>
/// </list>
/// </summary>
internal static partial class CardText
{
    public const string Prefix = "CB1:";

    /// <summary>The text of a card.</summary>
    /// <exception cref="ArgumentException">The key has no such value.</exception>
    public static string Write(CardCue card)
    {
        string value = card.Value.ToUpperInvariant();
        if (CardKeys.Read(card.Key, value) is null)
        {
            throw new ArgumentException($"A card of the key {card.Key} cannot say {card.Value}.", nameof(card));
        }

        string said = $"{Prefix}{card.Key.ToUpperInvariant()}:{value}";
        return $"{said}:{CheckOf(said)}";
    }

    /// <summary>Reads the text of a code.</summary>
    /// <returns>
    /// Null: the code is no card. Else what the card says, or why nobody can tell: a text that begins as cards do, or would be a card but for one
    /// character of that beginning, never passes for something else.
    /// </returns>
    public static (CardCue? Card, Reason? Finding)? Read(string text)
    {
        if (!Beginning().IsMatch(text))
        {
            return IsPrefixMisread(text) ? (null, Damaged) : null;
        }

        if (!text.StartsWith(Prefix, StringComparison.Ordinal))
        {
            return (null, new Reason(
                "card-version",
                $"A cue card has a text of another version than {Prefix.TrimEnd(':')}; print the cards anew with this program, and look at the pictures that follow the card."));
        }

        int end = text.LastIndexOf(':');
        if (!IsChecked(text, end) || text[..end].Split(':') is not [_, var key, var value])
        {
            return (null, Damaged);
        }

        key = key.ToLowerInvariant();
        if (!CardKeys.All.Contains(key, StringComparer.Ordinal))
        {
            return (null, new Reason("card-key-unknown", "A cue card says something of a kind that this program does not know; print the cards anew with this program, and say by hand what was meant."));
        }

        return CardKeys.Read(key, value) is { } kept
            ? (new CardCue(key, kept), null)
            : (null, new Reason("card-value", $"A cue card of the kind '{key}' says a value that there is not; print it anew, and say by hand what was meant."));
    }

    private static Reason Damaged { get; } = new(
        "card-damaged", "A cue card was read whose check value does not fit, so nobody can tell what it says; find out which card was shown, and print it anew.");

    private static bool IsPrefixMisread(string text) =>
        text.Length > Prefix.Length
        && text.AsSpan(0, Prefix.Length).CommonPrefixLength(Prefix) is var same
        && text.AsSpan(same + 1, Prefix.Length - same - 1).SequenceEqual(Prefix.AsSpan(same + 1))
        && (Prefix + text[Prefix.Length..]) is var mended
        && IsChecked(mended, mended.LastIndexOf(':'));

    private static bool IsChecked(string text, int end) => end > 0 && Ascii.IsValid(text) && text[(end + 1)..] == CheckOf(text[..end]);

    /// <summary>Four hexadecimal digits.</summary>
    internal static string CheckOf(string said)
    {
        int register = 0xFFFF;
        foreach (byte one in Encoding.ASCII.GetBytes(said))
        {
            register ^= one << 8;
            for (int bit = 0; bit < 8; bit++)
            {
                register = ((register << 1) ^ ((register & 0x8000) == 0 ? 0 : 0x1021)) & 0xFFFF;
            }
        }

        return register.ToString("X4", CultureInfo.InvariantCulture);
    }

    [GeneratedRegex("^CB[0-9]{1,3}:", RegexOptions.CultureInvariant)]
    private static partial Regex Beginning();
}
