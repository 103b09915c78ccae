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
        return exact.Length <= 16 ? exact : Nearest(value, value.ToString);
    }

    /// <summary>The number without trailing zeros, exact where sixteen bytes are enough, else the nearest that fits.</summary>
    public static string Format(decimal value)
    {
        string exact = value.ToString("0.############################", CultureInfo.InvariantCulture);
        return exact.Length <= 16 ? exact : Nearest((double)value, value.ToString);
    }

    private static string Nearest(double value, Func<string, IFormatProvider, string> format)
    {
        IEnumerable<string> candidates = Enumerable.Range(0, 15).Select(digits => "0." + new string('#', digits) + "E0");
        if (Math.Abs(value) < 1e16)
        {
            candidates = candidates.Concat(Enumerable.Range(0, 15).Select(digits => string.Create(CultureInfo.InvariantCulture, $"F{digits}")));
        }

        return candidates.Select(candidate => format(candidate, CultureInfo.InvariantCulture))
            .Where(text => text.Length <= 16)
            .MinBy(text => Math.Abs(double.Parse(text, CultureInfo.InvariantCulture) - value))!;
    }
}
