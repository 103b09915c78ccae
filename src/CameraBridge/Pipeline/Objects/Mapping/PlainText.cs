using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>Makes text of a camera or a description fit an attribute: no control characters, no delimiter, not too long.</summary>
internal static class PlainText
{
    /// <summary>The text as the attribute can hold it; a cut is noted.</summary>
    public static string? Fit(string text, Tag tag, List<string> notes)
    {
        TagEntry entry = TagDictionary.Find(tag)!;
        var fitting = new StringBuilder(text.Length);
        int length = 0;
        int most = ValueRules.MaximumLength(entry.Vr) ?? int.MaxValue;
        foreach (Rune rune in text.Trim().EnumerateRunes())
        {
            if (length == most)
            {
                string note = $"{entry.Keyword} was longer than {most} characters and is cut.";
                if (!notes.Contains(note))
                {
                    notes.Add(note);
                }

                break;
            }

            // A backslash would part the text into two values (PS3.5 section 6.4).
            Rune one = rune.Value == '\\' ? new Rune('/') : Rune.IsControl(rune) ? new Rune(' ') : rune;
            fitting.Append(one);
            length++;
        }

        string result = fitting.ToString().TrimEnd();
        return result.Length == 0 ? null : result;
    }
}
