using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Conformance;

/// <summary>The attributes of an object by path, as the tables name them: "RequestAttributesSequence>AccessionNumber"; items of a sequence count as one.</summary>
internal static class AttributePaths
{
    public const char Step = '>';

    /// <summary>What each attribute holds, in one text that can be compared; empty when it has no value in any item.</summary>
    public static IReadOnlyDictionary<string, string> Of(DataSet dataSet)
    {
        var found = new Dictionary<string, StringBuilder>(StringComparer.Ordinal);
        Walk(dataSet, "", found);
        return found.ToDictionary(pair => pair.Key, pair => pair.Value.ToString(), StringComparer.Ordinal);
    }

    public static string KeywordOf(Tag tag) => TagDictionary.Find(tag)?.Keyword ?? tag.ToString();

    private static void Walk(DataSet dataSet, string above, Dictionary<string, StringBuilder> found)
    {
        foreach (Element element in dataSet)
        {
            string path = above + KeywordOf(element.Tag);
            if (!found.TryGetValue(path, out StringBuilder? content))
            {
                found.Add(path, content = new StringBuilder());
            }

            if (element.Items is { Count: > 0 } items)
            {
                content.Append(items.Count).Append(';');
                foreach (DataSet item in items)
                {
                    Walk(item, path + Step, found);

                    // A code is one value: its sequence changes with it.
                    content.Append(item.GetString(Tags.CodeValue)).Append(item.GetString(Tags.CodingSchemeDesignator)).Append(';');
                }
            }
            else if (!element.IsEmpty)
            {
                content.Append(Convert.ToHexString(element.Value.Span)).Append(element.Pixels?.Length).Append(element.Encapsulated?.Fragments.Count).Append(';');
            }
        }
    }
}
