using System.Diagnostics.CodeAnalysis;
using System.Globalization;

namespace CameraBridge.Dicom.Data;

/// <summary>Dates from one to another, both included, either end open (PS3.4 section C.2.2.2.5, edition 2025e).</summary>
/// <param name="From">First day, or null when open.</param>
/// <param name="To">Last day, or null when open.</param>
public readonly record struct DateRange(DateOnly? From, DateOnly? To)
{
    /// <summary>Reads "20260101", "20260101-20260103", "20260101-" and "-20260103".</summary>
    /// <returns>False when the text is none of these.</returns>
    public static bool TryParse([NotNullWhen(true)] string? text, out DateRange range)
    {
        range = default;
        if (DicomDateTime.TryParseDate(text, out DateOnly single))
        {
            range = new DateRange(single, single);
            return true;
        }

        if (!RangeText.TrySplit(text, out string from, out string to))
        {
            return false;
        }

        DateOnly first = default;
        DateOnly last = default;
        if ((from.Length > 0 && !DicomDateTime.TryParseDate(from, out first)) || (to.Length > 0 && !DicomDateTime.TryParseDate(to, out last)))
        {
            return false;
        }

        range = new DateRange(from.Length > 0 ? first : null, to.Length > 0 ? last : null);
        return true;
    }

    /// <summary>Reads as <see cref="TryParse"/> does.</summary>
    /// <exception cref="FormatException">The text is no range of dates.</exception>
    public static DateRange Parse(string text) =>
        TryParse(text, out DateRange range) ? range : throw new FormatException("Not a date or a range of dates (PS3.4 C.2.2.2.5).");

    /// <summary>True when the day lies within.</summary>
    public bool Contains(DateOnly date) => (From is not { } from || date >= from) && (To is not { } to || date <= to);

    /// <summary>The form of a matching key: one date when both ends are the same day.</summary>
    public override string ToString()
    {
        string from = From?.ToString("yyyyMMdd", CultureInfo.InvariantCulture) ?? "";
        return From == To ? from : $"{from}-{To?.ToString("yyyyMMdd", CultureInfo.InvariantCulture)}";
    }
}

/// <summary>
/// Times of day from one to another, both included to their written precision, either end open (PS3.4 section C.2.2.2.5, edition 2025e).
/// It does not go past midnight: an end before the beginning holds nothing.
/// </summary>
/// <param name="From">First time, or null when open.</param>
/// <param name="To">Last time, or null when open.</param>
public readonly record struct TimeRange(DicomTime? From, DicomTime? To)
{
    /// <summary>Reads "1030", "10-1145", "10-" and "-1145".</summary>
    /// <returns>False when the text is none of these.</returns>
    public static bool TryParse([NotNullWhen(true)] string? text, out TimeRange range)
    {
        range = default;
        if (DicomTime.TryParse(text, out DicomTime single))
        {
            range = new TimeRange(single, single);
            return true;
        }

        if (!RangeText.TrySplit(text, out string from, out string to))
        {
            return false;
        }

        DicomTime first = default;
        DicomTime last = default;
        if ((from.Length > 0 && !DicomTime.TryParse(from, out first)) || (to.Length > 0 && !DicomTime.TryParse(to, out last)))
        {
            return false;
        }

        range = new TimeRange(from.Length > 0 ? first : null, to.Length > 0 ? last : null);
        return true;
    }

    /// <summary>Reads as <see cref="TryParse"/> does.</summary>
    /// <exception cref="FormatException">The text is no range of times.</exception>
    public static TimeRange Parse(string text) =>
        TryParse(text, out TimeRange range) ? range : throw new FormatException("Not a time or a range of times (PS3.4 C.2.2.2.5).");

    /// <summary>True when the time lies within.</summary>
    public bool Contains(TimeOnly time) => (From is not { } from || time >= from.Earliest) && (To is not { } to || time <= to.Latest);

    /// <summary>The form of a matching key: one time when both ends are the same.</summary>
    public override string ToString() => From == To ? From?.ToString() ?? "" : $"{From}-{To}";
}

/// <summary>
/// Moments from one to another, both included to their written precision, either end open (PS3.4 section C.2.2.2.5, edition 2025e).
/// </summary>
/// <param name="From">First moment, or null when open.</param>
/// <param name="To">Last moment, or null when open.</param>
public readonly record struct DateTimeRange(DicomDateTime? From, DicomDateTime? To)
{
    /// <summary>
    /// Reads a moment or a range. The hyphen of a zone is told from that of a range by what follows it: four digits up to 1400, then the end or
    /// another hyphen, are a zone; anything else begins the second moment (years up to 1400 cannot stand alone there).
    /// </summary>
    /// <returns>False when the text is neither.</returns>
    public static bool TryParse([NotNullWhen(true)] string? text, out DateTimeRange range)
    {
        range = default;
        string trimmed = (text ?? "").Trim(' ', '\0');
        if (DicomDateTime.TryParse(trimmed, out DicomDateTime single))
        {
            range = new DateTimeRange(single, single);
            return true;
        }

        int hyphen = trimmed.IndexOf('-', StringComparison.Ordinal);
        while (hyphen > 0 && IsZone(trimmed, hyphen))
        {
            hyphen = trimmed.IndexOf('-', hyphen + 1);
        }

        if (hyphen < 0 || trimmed.Length == 1)
        {
            return false;
        }

        string from = trimmed[..hyphen];
        string to = trimmed[(hyphen + 1)..];
        DicomDateTime first = default;
        DicomDateTime last = default;
        if ((from.Length > 0 && !DicomDateTime.TryParse(from, out first)) || (to.Length > 0 && !DicomDateTime.TryParse(to, out last)))
        {
            return false;
        }

        range = new DateTimeRange(from.Length > 0 ? first : null, to.Length > 0 ? last : null);
        return true;
    }

    /// <summary>Reads as <see cref="TryParse"/> does.</summary>
    /// <exception cref="FormatException">The text is no range of moments.</exception>
    public static DateTimeRange Parse(string text) =>
        TryParse(text, out DateTimeRange range) ? range : throw new FormatException("Not a date time or a range of them (PS3.4 C.2.2.2.5).");

    /// <summary>True when the moment lies within; ends without a zone are in <paramref name="zoneIfNone"/>.</summary>
    public bool Contains(DateTimeOffset moment, TimeSpan zoneIfNone) =>
        (From is not { } from || moment >= new DateTimeOffset(from.Earliest, from.Offset ?? zoneIfNone))
        && (To is not { } to || moment <= new DateTimeOffset(to.Latest, to.Offset ?? zoneIfNone));

    /// <summary>The form of a matching key: one moment when both ends are the same.</summary>
    public override string ToString() => From == To ? From?.ToString() ?? "" : $"{From}-{To}";

    private static bool IsZone(string text, int hyphen) =>
        (hyphen + 5 == text.Length || (hyphen + 5 < text.Length && text[hyphen + 5] == '-'))
        && DicomDateTime.TryParseOffset(text.AsSpan(hyphen, 5), out _);
}

/// <summary>The two sides of a range.</summary>
internal static class RangeText
{
    /// <summary>Parts "a-b", "a-" and "-b" at their only hyphen.</summary>
    public static bool TrySplit(string? text, out string from, out string to)
    {
        string trimmed = (text ?? "").Trim(' ', '\0');
        int hyphen = trimmed.IndexOf('-', StringComparison.Ordinal);
        from = hyphen < 0 ? "" : trimmed[..hyphen].Trim();
        to = hyphen < 0 ? "" : trimmed[(hyphen + 1)..].Trim();
        return hyphen >= 0 && trimmed.Length > 1 && !to.Contains('-', StringComparison.Ordinal);
    }
}
