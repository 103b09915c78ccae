using System.Globalization;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Sittings.Cues.Cards;

/// <summary>What cards may say: the keys, and the form of each one's values.</summary>
internal static class CardKeys
{
    public const string Side = "side", Optic = "optic", Site = "site", Tooth = "tooth", Done = "done", Ignore = "ignore", Clock = "clock", Scale = "scale";

    /// <summary>The only values of <see cref="Done"/> and <see cref="Ignore"/>.</summary>
    public const string DonePatient = "patient", IgnoreLast = "last";

    /// <summary>An instant in UTC, to the second: ISO 8601, basic format.</summary>
    public const string ClockForm = "yyyyMMdd'T'HHmmss'Z'";

    /// <summary>Between the teeth of one card.</summary>
    public const char Between = '+';

    /// <summary>Tenths of a millimetre: a code smaller than 5 mm is not read, one above 2 m is not printed.</summary>
    private const int LeastScale = 50, MostScale = 20_000;

    public static readonly IReadOnlyList<string> All = [Side, Optic, Site, Tooth, Done, Ignore, Clock, Scale];

    /// <summary>The kept form of a written value; null when it is none of the key's.</summary>
    public static string? Read(string key, string written) => key switch
    {
        Side => written is "R" or "L" or "B" ? written : null,
        Optic => written.Length is > 0 and <= 40 && written.All(letter => IsCapitalOrDigit(letter) || letter is '-' or '_') ? written.ToLowerInvariant() : null,
        Site => written.Length is > 0 and <= 16 && written.All(letter => IsCapitalOrDigit(letter) || letter is '-' or '.') ? written : null,
        Tooth => written.Split(Between) is { Length: <= 52 } teeth && teeth.All(tooth => Teeth.Read(tooth, out string kept) is null && kept == tooth) ? written : null,
        Done => written == "PATIENT" ? DonePatient : null,
        Ignore => written == "LAST" ? IgnoreLast : null,
        Clock => DateTime.TryParseExact(written, ClockForm, CultureInfo.InvariantCulture, DateTimeStyles.None, out DateTime time) && time.Year >= 2000 ? written : null,
        Scale => int.TryParse(written, NumberStyles.None, CultureInfo.InvariantCulture, out int length) && length is >= LeastScale and <= MostScale && written[0] != '0'
            ? written
            : null,
        _ => null,
    };

    private static bool IsCapitalOrDigit(char letter) => letter is (>= 'A' and <= 'Z') or (>= '0' and <= '9');
}
