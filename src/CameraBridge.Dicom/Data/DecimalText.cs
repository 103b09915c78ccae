using System.Globalization;

namespace CameraBridge.Dicom.Data;

/// <summary>Numbers as DS, which has sixteen bytes (PS3.5 section 6.2, edition 2025e).</summary>
public static class DecimalText
{
    /// <summary>The shortest text that reads back as the number, or where sixteen bytes are too few, the nearest that fits.</summary>
    /// <exception cref="ArgumentOutOfRangeException">Not a number, or infinite.</exception>
    public static string Format(double value)
    {
        if (!double.IsFinite(value))
        {
            throw new ArgumentOutOfRangeException(nameof(value), "DS has no infinities and no NaN.");
        }

        string exact = value.ToString("R", CultureInfo.InvariantCulture);
        return exact.Length <= 16 ? exact : Nearest(value, [exact], value.ToString);
    }

    /// <summary>The number without trailing zeros, exact where sixteen bytes are enough, else the nearest that fits.</summary>
    public static string Format(decimal value)
    {
        string exact = value.ToString("0.############################", CultureInfo.InvariantCulture);
        return exact.Length <= 16 ? exact : Nearest((double)value, [exact], value.ToString);
    }

    private static string Nearest(double value, string[] first, Func<string, IFormatProvider, string> format)
    {
        IEnumerable<string> candidates = Enumerable.Range(0, 17).SelectMany(digits => new[]
        {
            format(string.Create(CultureInfo.InvariantCulture, $"F{digits}"), CultureInfo.InvariantCulture),
            format("0." + new string('#', digits) + "E0", CultureInfo.InvariantCulture),
        });
        return first.Concat(candidates)
            .Where(text => text.Length <= 16)
            .MinBy(text => Math.Abs(double.Parse(text, CultureInfo.InvariantCulture) - value))!;
    }
}
