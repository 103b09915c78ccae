using System.Diagnostics.CodeAnalysis;
using System.Globalization;
using System.Text.RegularExpressions;

namespace CameraBridge.Configuration;

/// <summary>What is wrong with a value, and the next step.</summary>
internal sealed record ValueFault(string What, string Fix)
{
    /// <summary>The value may hold a secret that was written where none belongs: it is not repeated.</summary>
    public bool IsSecret { get; init; }
}

/// <summary>The written forms of single values. Pure: text in, value or fault out.</summary>
internal static partial class SettingValues
{
    private static readonly (string Word, TimeSpan Unit)[] DurationUnits =
    [
        ("ms", TimeSpan.FromMilliseconds(1)),
        ("s", TimeSpan.FromSeconds(1)),
        ("sec", TimeSpan.FromSeconds(1)),
        ("second", TimeSpan.FromSeconds(1)),
        ("seconds", TimeSpan.FromSeconds(1)),
        ("min", TimeSpan.FromMinutes(1)),
        ("minute", TimeSpan.FromMinutes(1)),
        ("minutes", TimeSpan.FromMinutes(1)),
        ("h", TimeSpan.FromHours(1)),
        ("hour", TimeSpan.FromHours(1)),
        ("hours", TimeSpan.FromHours(1)),
        ("d", TimeSpan.FromDays(1)),
        ("day", TimeSpan.FromDays(1)),
        ("days", TimeSpan.FromDays(1)),
    ];

    /// <summary>The names that a pattern may give to what it picks out.</summary>
    public static readonly IReadOnlyList<string> PatternGroups = ["patient_id", "issuer", "accession_number"];

    /// <summary>A number with its unit: <c>3s</c>, <c>2 min</c>, <c>500 ms</c>, <c>1.5 h</c>, <c>7 days</c>.</summary>
    public static ValueFault? Duration(string text, TimeSpan least, TimeSpan most, out TimeSpan value)
    {
        value = default;
        Match match = DurationForm().Match(text);
        if (!match.Success)
        {
            return new ValueFault("is no duration", "Write a number and a unit, for example 3 s, 2 min, 1 h or 7 days.");
        }

        string word = match.Groups["unit"].Value;
        (string Word, TimeSpan Unit) unit = DurationUnits.FirstOrDefault(known => known.Word.Equals(word, StringComparison.OrdinalIgnoreCase));
        if (unit.Word is null)
        {
            return word.Length == 0
                ? new ValueFault("has no unit", $"Write for example {text.Trim()} s or {text.Trim()} min.")
                : new ValueFault($"has a unit that is not known, '{word}'", "Units are ms, s, min, h and days.");
        }

        if (!double.TryParse(match.Groups["number"].Value, CultureInfo.InvariantCulture, out double number) || number * unit.Unit.TotalDays > 36500)
        {
            return new ValueFault("is too long", $"The longest here is {WriteDuration(most)}.");
        }

        value = unit.Unit * number;
        return value < least ? new ValueFault("is too short", $"The shortest here is {WriteDuration(least)}.")
            : value > most ? new ValueFault("is too long", $"The longest here is {WriteDuration(most)}.")
            : null;
    }

    public static string WriteDuration(TimeSpan value)
    {
        (string word, TimeSpan unit) = value == TimeSpan.Zero ? ("s", TimeSpan.FromSeconds(1))
            : value.Ticks % TimeSpan.TicksPerDay == 0 ? ("days", TimeSpan.FromDays(1))
            : value.Ticks % TimeSpan.TicksPerHour == 0 ? ("h", TimeSpan.FromHours(1))
            : value.Ticks % TimeSpan.TicksPerMinute == 0 ? ("min", TimeSpan.FromMinutes(1))
            : value.Ticks % TimeSpan.TicksPerSecond == 0 ? ("s", TimeSpan.FromSeconds(1))
            : ("ms", TimeSpan.FromMilliseconds(1));
        return string.Create(CultureInfo.InvariantCulture, $"{value / unit:0.###} {word}");
    }

    /// <summary>PS3.5 2025e Table 6.2-1, AE: at most 16 bytes of the default repertoire without backslash and control characters, not all spaces.</summary>
    public static ValueFault? AETitle(string text)
    {
        string title = text.Trim(' ');
        if (title.Length == 0)
        {
            return new ValueFault("is an empty AE title", "Write the title that the peer knows, 1 to 16 characters.");
        }

        int wrong = title.AsSpan().IndexOfAnyExceptInRange(' ', '~');
        if (wrong < 0)
        {
            wrong = title.IndexOf('\\', StringComparison.Ordinal);
        }

        return wrong >= 0
            ? new ValueFault($"has a character that no AE title may have, at position {wrong + 1}", "Use unaccented letters, digits and signs, but no backslash.")
            : title.Length > 16
            ? new ValueFault($"is {title.Length} characters long, and an AE title has at most 16", "Shorten it, here and at the peer.")
            : null;
    }

    /// <summary>A probability above 0.5 and below 1, as a fraction.</summary>
    public static ValueFault? Probability(string text, out double value) =>
        double.TryParse(text, NumberStyles.AllowDecimalPoint, CultureInfo.InvariantCulture, out value) && value is > 0.5 and < 1
            ? null
            : new ValueFault("is no probability between 0.5 and 1", "Write a fraction above 0.5 and below 1, like 0.98.");

    /// <summary>A whole number between two limits.</summary>
    public static ValueFault? Number(string text, int least, int most, out int value) =>
        int.TryParse(text, NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out value) && value >= least && value <= most
            ? null
            : new ValueFault("is not what is asked for here", $"Write a whole number from {least} to {most}.");

    public static ValueFault? Flag(string text, out bool value)
    {
        value = text.ToUpperInvariant() is "YES" or "TRUE" or "ON";
        return value || text.ToUpperInvariant() is "NO" or "FALSE" or "OFF" ? null : new ValueFault("is neither yes nor no", "Write yes or no.");
    }

    /// <summary>A name of the time zone database, such as Europe/Lisbon, or UTC.</summary>
    public static ValueFault? Zone(string text, [NotNullWhen(true)] out TimeZoneInfo? zone)
    {
        if (TimeZoneInfo.TryFindSystemTimeZoneById(text, out zone))
        {
            return null;
        }

        string? nearest = NearestWord.Of(text, TimeZoneInfo.GetSystemTimeZones().Select(known => known.Id));
        return new ValueFault(
            "is no time zone that this machine knows",
            nearest is null ? "Write a name such as Europe/Lisbon, or UTC; on a bare system, install tzdata." : $"Did you mean {nearest}?");
    }

    /// <summary>A folder or file by its whole path.</summary>
    public static ValueFault? WholePath(string text) =>
        text.Contains('\0', StringComparison.Ordinal) ? new ValueFault("holds a character that no path may have", "Write it anew.")
        : !Path.IsPathFullyQualified(text) ? new ValueFault("is not an absolute path", "Write it from the root, for example /srv/cameras/room1.")
        : null;

    /// <summary>The file of the state. What other programs take for a server's address, password and all, is told from it and not repeated.</summary>
    public static ValueFault? StateFile(string text) => WholePath(text) is not null && (text.Contains('=', StringComparison.Ordinal) || text.Contains("://", StringComparison.Ordinal))
        ? new ValueFault("is no file but looks like the address of a server", "Write the server's settings below it, a line each: host, database, user, password_file.") { IsSecret = true }
        : WholePath(text);

    /// <summary>
    /// A pattern: a regular expression with at least one of the groups patient_id and accession_number, which does not fit the empty text.
    /// It is built without backtracking, so that no code in a picture can make it run for ever.
    /// </summary>
    public static ValueFault? Pattern(string text, out Regex? expression)
    {
        if (Expression(text, out expression) is { } wrong)
        {
            return wrong;
        }

        string[] named = [.. expression!.GetGroupNames().Where(name => !int.TryParse(name, CultureInfo.InvariantCulture, out _))];
        string? foreign = named.FirstOrDefault(name => !PatternGroups.Contains(name, StringComparer.Ordinal));
        return foreign is not null
            ? new ValueFault(
                $"names a group that is not known, '{foreign}'",
                NearestWord.Of(foreign, PatternGroups) is { } nearest ? $"Did you mean (?<{nearest}>...)?" : $"Groups are {string.Join(", ", PatternGroups)}.")
            : !named.Any(name => name is "patient_id" or "accession_number")
            ? new ValueFault("names neither a patient nor an order", "Put (?<patient_id>...) or (?<accession_number>...) around the part that does.")
            : expression.IsMatch("")
            ? new ValueFault("fits the empty text, and so any text", "Demand at least one character, for example with + in place of *.")
            : null;
    }

    /// <summary>A regular expression, built without backtracking, so that nothing from outside can make it run for ever.</summary>
    public static ValueFault? Expression(string text, out Regex? expression)
    {
        expression = null;
        try
        {
            expression = new Regex(text, RegexOptions.CultureInvariant | RegexOptions.NonBacktracking);
            return null;
        }
        catch (RegexParseException fault)
        {
            return new ValueFault(
                string.Create(CultureInfo.InvariantCulture, $"is no regular expression ({fault.Error} at position {fault.Offset + 1})"),
                "Correct it; single quotes around it keep backslashes as they are.");
        }
        catch (NotSupportedException)
        {
            return new ValueFault("uses look-around, a back-reference or another part that can run for ever", "Write it without.");
        }
    }

    /// <summary>A short name for messages and tables.</summary>
    public static ValueFault? Name(string text) =>
        NameForm().IsMatch(text) ? null : new ValueFault("is no name", "Use 1 to 40 letters, digits, '-' and '_'.");

    [GeneratedRegex(@"^\s*(?<number>\d+(\.\d+)?)\s*(?<unit>[A-Za-z]*)\s*$", RegexOptions.CultureInvariant)]
    private static partial Regex DurationForm();

    [GeneratedRegex("^[A-Za-z0-9_-]{1,40}$", RegexOptions.CultureInvariant)]
    private static partial Regex NameForm();
}
