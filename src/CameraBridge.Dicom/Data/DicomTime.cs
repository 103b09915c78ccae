using System.Diagnostics.CodeAnalysis;
using System.Globalization;

namespace CameraBridge.Dicom.Data;

/// <summary>
/// A time of day as precise as it was written (TM, PS3.5 section 6.2, edition 2025e): "10", "1030", "103000", "103000.25". A leap second
/// (60) is kept and counts as the last moment of its minute.
/// </summary>
/// <param name="Hour">0 to 23.</param>
/// <param name="Minute">0 to 59, or null when not written.</param>
/// <param name="Second">0 to 60, or null when not written.</param>
/// <param name="Microsecond">0 to 999,999.</param>
/// <param name="FractionDigits">Digits of the fraction that were written, 0 to 6.</param>
public readonly record struct DicomTime(int Hour, int? Minute = null, int? Second = null, int Microsecond = 0, int FractionDigits = 0)
{
    /// <summary>A time to the second, or to the microsecond where it has a fraction.</summary>
    public static DicomTime From(TimeOnly time)
    {
        int microsecond = (int)(time.Ticks % TimeSpan.TicksPerSecond / TimeSpan.TicksPerMicrosecond);
        return new DicomTime(time.Hour, time.Minute, time.Second, microsecond, microsecond == 0 ? 0 : 6);
    }

    /// <summary>The first moment that the text covers: 10:30:00 for "1030".</summary>
    public TimeOnly Earliest => Second == 60
        ? LastOfMinute
        : new TimeOnly(Hour, Minute ?? 0, Second ?? 0).Add(TimeSpan.FromMicroseconds(Microsecond));

    /// <summary>The last moment that the text covers: 10:30:59.9999999 for "1030".</summary>
    public TimeOnly Latest => Second is null or 60
        ? LastOfMinute
        : Earliest.Add(TimeSpan.FromMicroseconds(Unit(FractionDigits)) - TimeSpan.FromTicks(1));

    private TimeOnly LastOfMinute => new TimeOnly(Hour, Minute ?? 59, 59).Add(TimeSpan.FromTicks(TimeSpan.TicksPerSecond - 1));

    /// <summary>Reads TM, and the retired form with colons, "10:30:00.25". Spaces around it do not count.</summary>
    /// <returns>False when the text is neither.</returns>
    public static bool TryParse([NotNullWhen(true)] string? text, out DicomTime time)
    {
        time = default;
        ReadOnlySpan<char> span = (text ?? "").AsSpan().Trim(" \0");
        char[] plain = new char[span.Length];
        int length = 0;
        for (int at = 0; at < span.Length; at++)
        {
            if (span[at] == ':' && at is 2 or 5)
            {
                continue;
            }

            plain[length++] = span[at];
        }

        if (length < span.Length && span.Length is not (5 or >= 8))
        {
            return false;
        }

        return TryParsePlain(plain.AsSpan(0, length), out time);
    }

    /// <summary>The form of the standard, as precise as this is.</summary>
    public override string ToString()
    {
        string text = Hour.ToString("00", CultureInfo.InvariantCulture);
        if (Minute is not { } minute)
        {
            return text;
        }

        text += minute.ToString("00", CultureInfo.InvariantCulture);
        if (Second is not { } second)
        {
            return text;
        }

        text += second.ToString("00", CultureInfo.InvariantCulture);
        return FractionDigits == 0
            ? text
            : string.Concat(text, ".", Microsecond.ToString("000000", CultureInfo.InvariantCulture).AsSpan(0, FractionDigits));
    }

    /// <summary>Reads HH, HHMM, HHMMSS or HHMMSS.F with any number of fraction digits, of which six are kept.</summary>
    internal static bool TryParsePlain(ReadOnlySpan<char> span, out DicomTime time)
    {
        time = default;
        int? minute = null;
        int? second = null;
        int fraction = 0;
        int digits = 0;
        if (span.Length is not (2 or 4 or 6 or >= 8) || !TryTwo(span, out int hour) || hour > 23)
        {
            return false;
        }

        if (span.Length >= 4)
        {
            if (!TryTwo(span[2..], out int value) || value > 59)
            {
                return false;
            }

            minute = value;
        }

        if (span.Length >= 6)
        {
            if (!TryTwo(span[4..], out int value) || value > 60)
            {
                return false;
            }

            second = value;
        }

        if (span.Length >= 8)
        {
            ReadOnlySpan<char> part = span[7..];
            if (span[6] != '.' || part.ContainsAnyExceptInRange('0', '9'))
            {
                return false;
            }

            digits = Math.Min(part.Length, 6);
            fraction = int.Parse(part[..digits], NumberStyles.None, CultureInfo.InvariantCulture) * Unit(digits);
        }

        time = new DicomTime(hour, minute, second, fraction, digits);
        return true;
    }

    private static bool TryTwo(ReadOnlySpan<char> span, out int value) =>
        int.TryParse(span[..2], NumberStyles.None, CultureInfo.InvariantCulture, out value);

    /// <summary>Microseconds of the last of so many fraction digits.</summary>
    private static int Unit(int digits) => digits switch { 0 => 1_000_000, 1 => 100_000, 2 => 10_000, 3 => 1_000, 4 => 100, 5 => 10, _ => 1 };
}
