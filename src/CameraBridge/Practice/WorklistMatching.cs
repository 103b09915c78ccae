using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Practice;

/// <summary>
/// Attribute matching as a worklist provider does it (PS3.4 section C.2.2.2, edition 2025e): universal, single value, list of UIDs, wildcard,
/// range and sequence matching.
/// </summary>
internal static class WorklistMatching
{
    /// <summary>True when the item matches every key of the identifier.</summary>
    public static bool Matches(DataSet identifier, DataSet item)
    {
        foreach (Element key in identifier)
        {
            // The character set describes the query; it is no key (PS3.4 section C.4.1.1.3).
            if (key.Tag != Tags.SpecificCharacterSet && !key.Tag.IsGroupLength && !MatchesKey(identifier, key, item))
            {
                return false;
            }
        }

        return true;
    }

    /// <summary>The item with exactly the keys of the identifier; what the item does not have is empty.</summary>
    public static DataSet Answer(DataSet identifier, DataSet item)
    {
        var answer = new DataSet();
        foreach (Element key in identifier)
        {
            if (key.Tag == Tags.SpecificCharacterSet || key.Tag.IsGroupLength)
            {
                continue;
            }

            if (key.Vr == Vr.SQ && key.Items is [{ Count: > 0 } wanted, ..])
            {
                answer.SetItems(key.Tag, item.GetItems(key.Tag).Where(each => Matches(wanted, each)).Select(each => Answer(wanted, each)));
            }
            else if (item.Contains(key.Tag))
            {
                answer.CopyFrom(item, key.Tag);
            }
            else
            {
                answer.SetEmpty(key.Tag, key.Vr);
            }
        }

        return answer;
    }

    private static bool MatchesKey(DataSet identifier, Element key, DataSet item)
    {
        if (key.Vr == Vr.SQ)
        {
            return key.Items is not [{ } wanted, ..] || wanted.All(each => each.IsEmpty && each.Vr != Vr.SQ)
                || item.GetItems(key.Tag).Any(each => Matches(wanted, each));
        }

        IReadOnlyList<string> asked = identifier.GetStrings(key.Tag);
        if (asked.All(value => value.Length == 0))
        {
            return true;
        }

        IReadOnlyList<string> values = item.GetStrings(key.Tag);
        string text = string.Join('\\', asked);
        return key.Vr switch
        {
            Vr.UI => asked.Any(uid => values.Contains(uid, StringComparer.Ordinal)),
            Vr.DA => DateRange.TryParse(text, out DateRange days) && item.GetDate(key.Tag) is { } day && days.Contains(day),
            Vr.TM => TimeRange.TryParse(text, out TimeRange times) && item.GetTime(key.Tag) is { } time && times.Contains(time.Earliest),
            Vr.PN => values.Any(value => Fits(Fold(text), Fold(value))),
            Vr.AE or Vr.IS or Vr.DS => values.Any(value => string.Equals(value, text, StringComparison.Ordinal)),
            _ => values.Any(value => Fits(text, value)),
        };
    }

    /// <summary>Names are matched without letter case, and with or without empty trailing components, as section C.2.2.2.1 allows.</summary>
    private static string Fold(string name) => name.TrimEnd('^').ToUpper(CultureInfo.InvariantCulture);

    /// <summary>'*' stands for any characters and none, '?' for exactly one (section C.2.2.2.4).</summary>
    private static bool Fits(ReadOnlySpan<char> pattern, ReadOnlySpan<char> text)
    {
        int p = 0;
        int t = 0;
        int star = -1;
        int from = 0;
        while (t < text.Length)
        {
            if (p < pattern.Length && pattern[p] == '*')
            {
                star = p++;
                from = t;
            }
            else if (p < pattern.Length && (pattern[p] == '?' || pattern[p] == text[t]))
            {
                p++;
                t++;
            }
            else if (star >= 0)
            {
                p = star + 1;
                t = ++from;
            }
            else
            {
                return false;
            }
        }

        while (p < pattern.Length && pattern[p] == '*')
        {
            p++;
        }

        return p == pattern.Length;
    }
}
