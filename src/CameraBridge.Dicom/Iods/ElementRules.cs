using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>What PS3.5 and PS3.6 say of every element, wherever it stands.</summary>
internal static class ElementRules
{
    public static void Check(DataSet dataSet, FindingList findings) => Check(dataSet, null, findings);

    private static void Check(DataSet dataSet, Place? place, FindingList findings)
    {
        foreach (Element element in dataSet)
        {
            TagEntry? entry = TagDictionary.Find(element.Tag);
            string keyword = entry is { Keyword.Length: > 0 } ? entry.Keyword : element.Tag.ToString();
            if (entry is null)
            {
                CheckUnknown(dataSet, element, place, keyword, findings);
            }
            else
            {
                CheckKnown(entry, element, place, keyword, findings);
            }

            CheckText(dataSet, element, place, keyword, findings);
            for (int i = 0; i < (element.Items?.Count ?? 0); i++)
            {
                Check(element.Items![i], new Place(place, keyword, i + 1), findings);
            }
        }
    }

    private static void CheckUnknown(DataSet dataSet, Element element, Place? place, string keyword, FindingList findings)
    {
        if (element.Tag.IsGroupLength)
        {
            findings.Add(Severity.Warning, "tag.retired", place, keyword, "PS3.5 7.2", "a group length, which is retired", "its absence");
        }
        else if (!element.Tag.IsPrivate)
        {
            findings.Add(Severity.Warning, "tag.unknown", place, keyword, "PS3.6 6", "a tag that the edition 2025e does not have", "a registered or a private tag");
        }
        else if (!element.Tag.IsPrivateCreator && !dataSet.Contains(new Tag(element.Tag.Group, (ushort)(element.Tag.Number >> 8))))
        {
            findings.Add(Severity.Error, "private.creator", place, keyword, "PS3.5 7.8.1", "a private element without its creator", "the creator of the block in the same data set");
        }
    }

    private static void CheckKnown(TagEntry entry, Element element, Place? place, string keyword, FindingList findings)
    {
        if (element.Vr == Vr.UN)
        {
            // A writer that did not know the representation may say so (PS3.5 section 6.2.2), but nobody can read the value then.
            findings.Add(Severity.Warning, "vr.unknown", place, keyword, "PS3.5 6.2.2", "UN", string.Join(" or ", entry.Vrs));
            return;
        }

        if (!entry.Vrs.Contains(element.Vr))
        {
            findings.Add(Severity.Error, "vr", place, keyword, "PS3.6 6", element.Vr.ToString(), string.Join(" or ", entry.Vrs));
            return;
        }

        if (entry.Retired)
        {
            findings.Add(Severity.Warning, "tag.retired", place, keyword, "PS3.6 6", "a retired attribute", "its absence");
        }

        int count = ElementText.Count(element);
        if (count > 0 && element.Vr != Vr.SQ && !FitsMultiplicity(entry.Vm, count))
        {
            findings.Add(Severity.Error, "vm", place, keyword, "PS3.6 6", string.Create(CultureInfo.InvariantCulture, $"{count} values"), entry.Vm);
        }
    }

    private static void CheckText(DataSet dataSet, Element element, Place? place, string keyword, FindingList findings)
    {
        if (element.IsEmpty || element.Items is not null)
        {
            return;
        }

        if (!element.Vr.IsText())
        {
            int size = ElementText.NumberSize(element.Vr);
            if (size > 1 && element.Value.Length % size != 0)
            {
                findings.Add(Severity.Error, "value.length", place, keyword, "PS3.5 6.2", $"{element.Value.Length} bytes", $"a multiple of {size}");
            }

            return;
        }

        CheckPadding(element, place, keyword, findings);
        if (element.Vr.UsesCharacterSet() && element.Value.Span.ContainsAnyExceptInRange((byte)0, (byte)0x7F))
        {
            dataSet.CharacterSet.Decode(element.Value.Span, element.Vr, out string? flaw);
            if (flaw is not null)
            {
                findings.Add(Severity.Error, "text.charset", place, keyword, "PS3.5 6.1", $"a text that {flaw}", "text as Specific Character Set declares it");
            }
        }

        foreach (string value in dataSet.GetStrings(element.Tag))
        {
            if (ValueRules.Flaw(element.Vr, value) is { } rule)
            {
                // The value itself is not shown: it may be a patient's name.
                findings.Add(Severity.Error, "value.form", place, keyword, "PS3.5 6.2", $"a value of {value.Length} characters against the rule", rule);
            }
        }
    }

    // A UID is padded by one NULL, other text by spaces (PS3.5 sections 6.2 and 9.1).
    private static void CheckPadding(Element element, Place? place, string keyword, FindingList findings)
    {
        byte last = element.Value.Span[^1];
        if (last == (element.Vr == Vr.UI ? (byte)' ' : (byte)0))
        {
            findings.Add(
                Severity.Warning, "value.padding", place, keyword, element.Vr == Vr.UI ? "PS3.5 9.1" : "PS3.5 6.2", last == 0 ? "padded by NULL" : "padded by a space",
                last == 0 ? "padded by a space" : "padded by one NULL");
        }
    }

    /// <summary>"1", "1-3", "1-n", "2-2n" ... (PS3.5 section 6.4).</summary>
    internal static bool FitsMultiplicity(string multiplicity, int count)
    {
        int dash = multiplicity.IndexOf('-', StringComparison.Ordinal);
        if (dash < 0)
        {
            return !int.TryParse(multiplicity, CultureInfo.InvariantCulture, out int exact) || count == exact;
        }

        if (!int.TryParse(multiplicity.AsSpan(0, dash), CultureInfo.InvariantCulture, out int least))
        {
            return true;
        }

        ReadOnlySpan<char> upper = multiplicity.AsSpan(dash + 1);
        if (upper is [.. var step, 'n'])
        {
            return count >= least && (step.IsEmpty || count % int.Parse(step, CultureInfo.InvariantCulture) == 0);
        }

        return count >= least && count <= int.Parse(upper, CultureInfo.InvariantCulture);
    }
}
