using System.Globalization;

namespace CameraBridge.Configuration;

/// <summary>How much of a link may be used at a time of day.</summary>
/// <param name="From">Beginning, in the zone of the site.</param>
/// <param name="To">End; before <paramref name="From"/> where it runs over midnight; the same for the whole day.</param>
/// <param name="BitsPerSecond">0: nothing is sent then.</param>
internal sealed record BandwidthWindow(TimeOnly From, TimeOnly To, long BitsPerSecond)
{
    public bool Covers(TimeOnly time) => From == To || (From < To ? time >= From && time < To : time >= From || time < To);
}

/// <summary>The vocabulary of limits of a link: "2 Mbit/s", "none", "07:00".</summary>
internal static class BandwidthReader
{
    private static readonly (string Word, long Bits)[] Units = [("bit/s", 1), ("kbit/s", 1000), ("Mbit/s", 1_000_000), ("Gbit/s", 1_000_000_000)];

    public static BandwidthWindow Read(SettingReader reader) => new(
        reader.Get("from", TimeOnly.MinValue, Time, Write),
        reader.Get("to", TimeOnly.MinValue, Time, Write),
        reader.Need("limit", 0L, "Write for example 2 Mbit/s, or none for times at which nothing is to be sent.", Rate, Write));

    /// <summary>A rate with its unit, or "none".</summary>
    public static ValueFault? Rate(string text, out long bitsPerSecond)
    {
        bitsPerSecond = 0;
        if (text == "none")
        {
            return null;
        }

        foreach ((string word, long bits) in Units.Reverse())
        {
            if (text.EndsWith(word, StringComparison.OrdinalIgnoreCase)
                && decimal.TryParse(text[..^word.Length].Trim(), NumberStyles.AllowDecimalPoint, CultureInfo.InvariantCulture, out decimal number)
                && number > 0 && number * bits is >= 1000 and <= 1_000_000_000_000)
            {
                bitsPerSecond = (long)(number * bits);
                return null;
            }
        }

        return new ValueFault("is no rate", "Write a number and a unit, for example 512 kbit/s or 2 Mbit/s.");
    }

    public static string Write(long bitsPerSecond)
    {
        (string word, long bits) = Units.Last(unit => bitsPerSecond >= unit.Bits || unit.Bits == 1);
        return bitsPerSecond == 0 ? "none" : string.Create(CultureInfo.InvariantCulture, $"{(decimal)bitsPerSecond / bits:0.###} {word}");
    }

    private static ValueFault? Time(string text, out TimeOnly time) =>
        TimeOnly.TryParseExact(text, ["H:mm", "HH:mm"], CultureInfo.InvariantCulture, DateTimeStyles.None, out time) ? null : new ValueFault("is no time of day", "Write for example 07:00.");

    private static string Write(TimeOnly time) => time.ToString("HH:mm", CultureInfo.InvariantCulture);
}
