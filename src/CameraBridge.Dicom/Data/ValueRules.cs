using System.Buffers;
using System.Globalization;
using System.Text;

namespace CameraBridge.Dicom.Data;

/// <summary>
/// What one value of text may be: length, repertoire and form of each representation (PS3.5 section 6.2, Table 6.2-1, edition 2025e). The
/// only place of these rules: writing throws by them, and the check of whole objects reports by them.
/// </summary>
public static class ValueRules
{
    private static readonly SearchValues<char> DecimalCharacters = SearchValues.Create("0123456789+-.eE");

    /// <summary>Throws when the value breaks a rule of its representation.</summary>
    /// <exception cref="ValueException">Names tag, keyword and rule.</exception>
    public static void Check(Tag tag, string? keyword, Vr vr, string value)
    {
        if (Flaw(vr, value) is { } rule)
        {
            throw new ValueException(tag, keyword, rule);
        }
    }

    /// <summary>The rule that one value breaks, in words with its section; null when it is right.</summary>
    /// <param name="vr">A representation of text; others have no rule here.</param>
    /// <param name="value">One value, without padding. An empty one is always right.</param>
    public static string? Flaw(Vr vr, string value)
    {
        ArgumentNullException.ThrowIfNull(value);
        if (value.Length == 0 || !vr.IsText())
        {
            return null;
        }

        return vr switch
        {
            Vr.AE => FlawOfTitle(value),
            Vr.AS => value.Length == 4 && IsDigits(value.AsSpan(0, 3)) && value[3] is 'D' or 'W' or 'M' or 'Y'
                ? null : "AS is three digits and D, W, M or Y (PS3.5 6.2)",
            Vr.CS => FlawOfCode(value, ""),
            Vr.DA => value.Length == 8 && DicomDateTime.TryParseDate(value, out _) ? null : "DA is a date of the calendar as YYYYMMDD (PS3.5 6.2)",
            Vr.DS => FlawOfDecimal(value),
            Vr.DT => FlawOfDateTime(value),
            Vr.IS => FlawOfInteger(value),
            Vr.PN => FlawOfName(value),
            Vr.TM => value.Length is 2 or 4 or 6 or (>= 8 and <= 13) && DicomTime.TryParsePlain(value, out _)
                ? null : "TM is HH, HHMM, HHMMSS or HHMMSS.F to six digits (PS3.5 6.2)",
            Vr.UI => Uids.IsValid(value)
                ? null : "UI is at most 64 characters, digits in components parted by dots, none with a leading zero (PS3.5 9.1)",
            Vr.UR => FlawOfUri(value),
            _ => FlawOfText(vr, value),
        };
    }

    /// <summary>
    /// The rule that a matching key of a query breaks; null when it is right. A key may be a value, wildcards * and ? where PS3.4 section
    /// C.2.2.2.4 allows them, or a range of DA, TM or DT (section C.2.2.2.5).
    /// </summary>
    public static string? FlawOfKey(Vr vr, string key)
    {
        ArgumentNullException.ThrowIfNull(key);
        return vr switch
        {
            Vr.CS when key.Length > 0 => FlawOfCode(key, "*?"),
            Vr.DA when !DateRange.TryParse(key, out _) && key.Length > 0 => "not a date or a range of dates (PS3.4 C.2.2.2.5)",
            Vr.TM when !TimeRange.TryParse(key, out _) && key.Length > 0 => "not a time or a range of times (PS3.4 C.2.2.2.5)",
            Vr.DT when !DateTimeRange.TryParse(key, out _) && key.Length > 0 => "not a date time or a range of them (PS3.4 C.2.2.2.5)",
            Vr.DA or Vr.TM or Vr.DT => null,
            _ => Flaw(vr, key),
        };
    }

    /// <summary>Most characters of one value, in characters or for the default repertoire in bytes; null when only the value field limits it.</summary>
    public static int? MaximumLength(Vr vr) => vr switch
    {
        Vr.AS => 4,
        Vr.DA => 8,
        Vr.IS => 12,
        Vr.TM => 14,
        Vr.AE or Vr.CS or Vr.DS or Vr.SH => 16,
        Vr.DT => 26,
        Vr.LO or Vr.PN or Vr.UI => 64,
        Vr.ST => 1024,
        Vr.LT => 10240,
        _ => null,
    };

    private static string? FlawOfTitle(string value)
    {
        if (value.Length > 16)
        {
            return "AE is at most 16 bytes (PS3.5 6.2)";
        }

        if (value.AsSpan().Trim(' ').IsEmpty)
        {
            return "AE is not spaces alone (PS3.5 6.2)";
        }

        return value.AsSpan().ContainsAnyExceptInRange(' ', '~') || value.Contains('\\', StringComparison.Ordinal)
            ? "AE has characters of the default repertoire only, no backslash and no control (PS3.5 6.2)" : null;
    }

    private static string? FlawOfCode(string value, string alsoAllowed)
    {
        if (value.Length > 16)
        {
            return "CS is at most 16 bytes (PS3.5 6.2)";
        }

        foreach (char one in value)
        {
            if (one is not ((>= 'A' and <= 'Z') or (>= '0' and <= '9') or ' ' or '_') && !alsoAllowed.Contains(one, StringComparison.Ordinal))
            {
                return "CS has upper case letters, digits, space and underscore only (PS3.5 6.2)";
            }
        }

        return null;
    }

    private static string? FlawOfDecimal(string value)
    {
        ReadOnlySpan<char> number = value.AsSpan().Trim(' ');
        const NumberStyles form = NumberStyles.AllowLeadingSign | NumberStyles.AllowDecimalPoint | NumberStyles.AllowExponent;
        if (value.Length > 16)
        {
            return "DS is at most 16 bytes (PS3.5 6.2)";
        }

        return !number.ContainsAnyExcept(DecimalCharacters)
            && double.TryParse(number, form, CultureInfo.InvariantCulture, out double parsed) && double.IsFinite(parsed)
            ? null : "DS is a decimal number, fixed or with an exponent (PS3.5 6.2)";
    }

    private static string? FlawOfInteger(string value)
    {
        if (value.Length > 12)
        {
            return "IS is at most 12 bytes (PS3.5 6.2)";
        }

        return int.TryParse(value.AsSpan().Trim(' '), NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out _)
            ? null : "IS is an integer of -2147483648 to 2147483647 (PS3.5 6.2)";
    }

    private static string? FlawOfDateTime(string value)
    {
        const string rule = "DT is YYYYMMDDHHMMSS.FFFFFF&ZZXX, shortened from the right, at most 26 bytes (PS3.5 6.2)";
        return value.Length <= 26 && DicomDateTime.TryParse(value, out DicomDateTime parsed)
            && parsed.ToString() == value && !value.EndsWith("-0000", StringComparison.Ordinal)
            ? null : rule;
    }

    private static string? FlawOfUri(string value)
    {
        foreach (char one in value)
        {
            if (one is <= ' ' or > '~' or '\\' or '"' or '<' or '>' or '^' or '`' or '{' or '|' or '}')
            {
                return "UR has the characters of a URI only, no spaces and no backslash (PS3.5 6.2, RFC 3986 2)";
            }
        }

        return null;
    }

    private static string? FlawOfName(string value)
    {
        string[] groups = value.Split('=');
        if (groups.Length > 3)
        {
            return "PN has at most three component groups (PS3.5 6.2.1)";
        }

        foreach (string group in groups)
        {
            if (CountCharacters(group) is not { } count)
            {
                return "text has half a surrogate pair, which is no character";
            }

            if (count > 64)
            {
                return "PN is at most 64 characters in each component group (PS3.5 6.2)";
            }

            if (group.AsSpan().Count('^') > 4)
            {
                return "PN has at most five components in a group (PS3.5 6.2.1)";
            }
        }

        return FlawOfCharacters("PN", value, controlsAllowed: false);
    }

    private static string? FlawOfText(Vr vr, string value)
    {
        if (CountCharacters(value) is not { } count)
        {
            return "text has half a surrogate pair, which is no character";
        }

        if (MaximumLength(vr) is { } most && count > most)
        {
            return string.Create(CultureInfo.InvariantCulture, $"{vr} is at most {most} characters (PS3.5 6.2)");
        }

        return FlawOfCharacters(vr.ToString(), value, vr.IsSingleText());
    }

    private static string? FlawOfCharacters(string vr, string value, bool controlsAllowed)
    {
        foreach (char one in value)
        {
            if (one == '\\' && !controlsAllowed)
            {
                return $"{vr} has no backslash, which parts values (PS3.5 6.2)";
            }

            if (char.IsControl(one) && !(controlsAllowed && one is '\t' or '\n' or '\f' or '\r'))
            {
                return controlsAllowed
                    ? $"{vr} has no control characters but TAB, LF, FF and CR (PS3.5 6.1.3)"
                    : $"{vr} has no control characters (PS3.5 6.2)";
            }
        }

        return null;
    }

    /// <summary>Characters as the standard counts them, code points; null when a surrogate stands alone.</summary>
    private static int? CountCharacters(string value)
    {
        int count = 0;
        for (int at = 0; at < value.Length; count++)
        {
            if (!Rune.TryGetRuneAt(value, at, out Rune rune))
            {
                return null;
            }

            at += rune.Utf16SequenceLength;
        }

        return count;
    }

    private static bool IsDigits(ReadOnlySpan<char> text) => !text.ContainsAnyExceptInRange('0', '9');
}
