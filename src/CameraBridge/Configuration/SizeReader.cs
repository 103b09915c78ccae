using System.Globalization;

namespace CameraBridge.Configuration;

/// <summary>Sizes of files and disks: a number with its unit, in powers of ten as makers of disks count.</summary>
internal static class SizeReader
{
    private static readonly (string Word, long Bytes)[] Units =
        [("kB", 1000), ("KB", 1000), ("MB", 1_000_000), ("GB", 1_000_000_000), ("TB", 1_000_000_000_000), ("B", 1)];

    public static ValueFault? Read(string text, out long bytes)
    {
        foreach ((string word, long unit) in Units)
        {
            if (text.EndsWith(word, StringComparison.Ordinal)
                && decimal.TryParse(text[..^word.Length].Trim(), NumberStyles.AllowDecimalPoint, CultureInfo.InvariantCulture, out decimal number)
                && number * unit is >= 0 and <= 1_000_000_000_000_000)
            {
                bytes = (long)(number * unit);
                return null;
            }
        }

        bytes = 0;
        return new ValueFault("is no size", "Write a number and a unit, for example 512 MB or 1 GB.");
    }

    public static string Write(long bytes)
    {
        (string word, long unit) = Units.Where(one => one.Word != "KB").OrderByDescending(one => one.Bytes).First(one => bytes >= one.Bytes || one.Bytes == 1);
        return string.Create(CultureInfo.InvariantCulture, $"{(decimal)bytes / unit:0.###} {word}");
    }
}
