using System.Diagnostics.CodeAnalysis;
using System.Globalization;

namespace CameraBridge.Dicom.Data;

/// <summary>
/// A date and time as precise as it was written, with its zone if it has one (DT, PS3.5 section 6.2, edition 2025e):
/// "2026", "20260131", "20260131103000.25+0100".
/// </summary>
/// <param name="Year">1 to 9999.</param>
/// <param name="Month">1 to 12, or null when not written.</param>
/// <param name="Day">1 to 31, or null when not written.</param>
/// <param name="Time">The time, or null when not written.</param>
/// <param name="Offset">From UTC, -12:00 to +14:00; null when not written, which means the zone of Timezone Offset From UTC (0008,0201) or local time.</param>
public readonly record struct DicomDateTime(int Year, int? Month = null, int? Day = null, DicomTime? Time = null, TimeSpan? Offset = null)
{
    /// <summary>The first moment that the text covers, without its zone.</summary>
    public DateTime Earliest => new DateOnly(Year, Month ?? 1, Day ?? 1).ToDateTime(Time?.Earliest ?? TimeOnly.MinValue);

    /// <summary>The last moment that the text covers, without its zone.</summary>
    public DateTime Latest
    {
        get
        {
            int month = Month ?? 12;
            return new DateOnly(Year, month, Day ?? DateTime.DaysInMonth(Year, month)).ToDateTime(Time?.Latest ?? new DicomTime(23).Latest);
        }
    }

    /// <summary>A moment to the second, or to the microsecond where it has a fraction, with its zone.</summary>
    public static DicomDateTime From(DateTimeOffset moment) => From(moment.DateTime) with { Offset = moment.Offset };

    /// <summary>A moment without a zone.</summary>
    public static DicomDateTime From(DateTime moment) =>
        new(moment.Year, moment.Month, moment.Day, DicomTime.From(TimeOnly.FromDateTime(moment)));

    /// <summary>The moment with a zone: its own, or where it has none the one given.</summary>
    public DateTimeOffset ToDateTimeOffset(TimeSpan zoneIfNone) => new(DateTime.SpecifyKind(Earliest, DateTimeKind.Unspecified), Offset ?? zoneIfNone);

    /// <summary>Reads a date of DA, and the retired form "2026.01.31" and the foreign one "2026-01-31". Spaces around it do not count.</summary>
    public static bool TryParseDate([NotNullWhen(true)] string? text, out DateOnly date)
    {
        ReadOnlySpan<char> span = (text ?? "").AsSpan().Trim(" \0");
        string format = span.Length == 8 ? "yyyyMMdd" : span is [_, _, _, _, '.', ..] ? "yyyy.MM.dd" : "yyyy-MM-dd";
        return DateOnly.TryParseExact(span, format, CultureInfo.InvariantCulture, DateTimeStyles.None, out date);
    }

    /// <summary>Reads DT of any precision. Spaces around it do not count.</summary>
    /// <returns>False when the text is no DT.</returns>
    public static bool TryParse([NotNullWhen(true)] string? text, out DicomDateTime value)
    {
        value = default;
        ReadOnlySpan<char> span = (text ?? "").AsSpan().Trim(" \0");
        TimeSpan? offset = null;
        int sign = span.IndexOfAny('+', '-');
        if (sign >= 0)
        {
            if (!TryParseOffset(span[sign..], out TimeSpan zone))
            {
                return false;
            }

            offset = zone;
            span = span[..sign];
        }

        if (span.Length is 4 or 6 or 8 or > 8
            && !span[..Math.Min(span.Length, 8)].ContainsAnyExceptInRange('0', '9')
            && TryNumber(span[..4], 1, 9999, out int year))
        {
            int? month = null;
            int? day = null;
            DicomTime? time = null;
            if (span.Length >= 6)
            {
                if (!TryNumber(span[4..6], 1, 12, out int number))
                {
                    return false;
                }

                month = number;
            }

            if (span.Length >= 8)
            {
                if (!TryNumber(span[6..8], 1, DateTime.DaysInMonth(year, month!.Value), out int number))
                {
                    return false;
                }

                day = number;
            }

            if (span.Length > 8)
            {
                if (!DicomTime.TryParsePlain(span[8..], out DicomTime part))
                {
                    return false;
                }

                time = part;
            }

            value = new DicomDateTime(year, month, day, time, offset);
            return true;
        }

        return false;
    }

    /// <summary>Reads "+0100", also as it stands in Timezone Offset From UTC (0008,0201): -1200 to +1400.</summary>
    public static bool TryParseOffset(ReadOnlySpan<char> text, out TimeSpan offset)
    {
        offset = default;
        if (text.Length != 5 || text[0] is not ('+' or '-')
            || !TryNumber(text[1..3], 0, 14, out int hours) || !TryNumber(text[3..5], 0, 59, out int minutes))
        {
            return false;
        }

        offset = new TimeSpan(hours, minutes, 0);
        if (text[0] == '-')
        {
            offset = -offset;
        }

        return offset >= TimeSpan.FromHours(-12) && offset <= TimeSpan.FromHours(14);
    }

    /// <summary>The form "+0100" of a zone; UTC is "+0000".</summary>
    public static string FormatOffset(TimeSpan offset) =>
        (offset < TimeSpan.Zero ? "-" : "+") + offset.ToString("hhmm", CultureInfo.InvariantCulture);

    /// <summary>The form of the standard, as precise as this is.</summary>
    public override string ToString()
    {
        string text = Year.ToString("0000", CultureInfo.InvariantCulture)
            + (Month?.ToString("00", CultureInfo.InvariantCulture) ?? "")
            + (Day?.ToString("00", CultureInfo.InvariantCulture) ?? "")
            + (Time?.ToString() ?? "");
        return Offset is { } offset ? text + FormatOffset(offset) : text;
    }

    private static bool TryNumber(ReadOnlySpan<char> text, int low, int high, out int number) =>
        int.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out number) && number >= low && number <= high;
}
