using System.Text;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Data;

/// <content>Character sets of a data set and its items, and copying between data sets that differ in them.</content>
public sealed partial class DataSet
{
    private const int MaximumTextFlaws = 100;

    /// <summary>The data set that this one is an item of.</summary>
    private DataSet? parent;

    /// <summary>
    /// How the bytes of text become characters. Setting it changes no bytes and no other data set: readers use
    /// <see cref="ResolveCharacterSets"/>, writers need not care.
    /// </summary>
    public CharacterSet CharacterSet { get; set; } = CharacterSet.Undeclared;

    /// <summary>True when some text, here or in an item, was not read as declared: see <see cref="FindTextFlaws"/>.</summary>
    public bool HasFlawedText => FindTextFlaws() is not [];

    private DataSet Outermost
    {
        get
        {
            DataSet set = this;
            while (set.parent is { } outer)
            {
                set = outer;
            }

            return set;
        }
    }

    /// <summary>
    /// Sets <see cref="CharacterSet"/> here and in all items from Specific Character Set (0008,0005); items without one inherit
    /// (PS3.5 section 6.1.2.2 and PS3.3 section C.12.1.1.2, edition 2025e). May be called again with another fallback.
    /// </summary>
    /// <param name="fallback">What this peer means where it declares nothing or something wrong; null when nothing is known of it.</param>
    public void ResolveCharacterSets(CharacterSet? fallback = null) =>
        Resolve(fallback, CharacterSet.FromSpecificCharacterSet(null, fallback));

    /// <summary>
    /// Where text was not read as declared, one sentence each with the element's path and no text of it; at most 100. A data set that
    /// declares nothing and holds ASCII only has no flaw.
    /// </summary>
    public IReadOnlyList<string> FindTextFlaws()
    {
        var flaws = new List<string>();
        CollectTextFlaws("", flaws, inherited: null);
        return flaws;
    }

    /// <summary>
    /// Takes over elements of another data set, items and all, as copies; text beyond ASCII becomes UTF-8. What the source does not have is left as it is.
    /// </summary>
    public void CopyFrom(DataSet source, params IEnumerable<Tag> tags)
    {
        ArgumentNullException.ThrowIfNull(source);
        ArgumentNullException.ThrowIfNull(tags);
        foreach (Tag tag in tags)
        {
            if (tag == Tags.SpecificCharacterSet || !source.TryFind(tag, out Element? element))
            {
                continue;
            }

            if (element.Items is { } items)
            {
                Put(Element.FromItems(tag, [.. items.Select(item => item.Clone())]));
                Naturalize(GetItems(tag));
            }
            else if (element.Vr.UsesCharacterSet() && !element.Value.IsEmpty)
            {
                PutText(tag, element.Vr, source.CharacterSet.Decode(element.Value.Span, element.Vr, out bool _));
            }
            else
            {
                Put(element);
            }
        }
    }

    /// <summary>
    /// Turns all text of the outermost data set and its items into UTF-8 and declares it: ISO_IR 192 in the outermost, nothing in items.
    /// </summary>
    public void ConvertToUtf8() => Outermost.TurnToUtf8();

    private void TurnToUtf8()
    {
        if (!CharacterSet.IsUtf8)
        {
            for (int at = 0; at < elements.Count; at++)
            {
                Element element = elements[at];
                if (element.Vr.UsesCharacterSet() && !(CharacterSet.ReadsAsciiAsAscii && CharacterSet.IsPlain(element.Value.Span)))
                {
                    string text = CharacterSet.Decode(element.Value.Span, element.Vr, out bool _);
                    elements[at] = Element.FromBytes(element.Tag, element.Vr, Encoding.UTF8.GetBytes(text));
                }
            }

            CharacterSet = CharacterSet.Utf8;
        }

        foreach (DataSet item in elements.SelectMany(element => element.Items ?? []))
        {
            item.TurnToUtf8();
        }

        if (parent is null)
        {
            Put(Element.FromBytes(Tags.SpecificCharacterSet, Vr.CS, "ISO_IR 192"u8.ToArray()));
        }
        else
        {
            Remove(Tags.SpecificCharacterSet);
        }
    }

    /// <summary>A copy that shares no item with this one. Values, which do not change, and streamed pixels are shared.</summary>
    public DataSet Clone()
    {
        var copy = new DataSet { CharacterSet = CharacterSet };
        foreach (Element element in elements)
        {
            copy.Put(element.Items is { } items ? Element.FromItems(element.Tag, [.. items.Select(item => item.Clone())]) : element);
        }

        return copy;
    }

    /// <summary>Items of another data set become part of this one.</summary>
    private Element Adopt(Element element)
    {
        if (element.Items is not { Count: > 0 } items)
        {
            return element;
        }

        if (items.Any(item => item.parent is not null && item.parent != this))
        {
            // One item in two data sets could not follow the character sets of both.
            items = [.. items.Select(item => item.parent is null || item.parent == this ? item : item.Clone())];
            element = Element.FromItems(element.Tag, items);
        }

        foreach (DataSet item in items)
        {
            item.parent = this;
        }

        return element;
    }

    /// <summary>Items of a removed element are free to become part of another data set, but for those that its replacement keeps.</summary>
    private static void Release(Element removed, Element? replacement)
    {
        foreach (DataSet item in removed.Items ?? [])
        {
            if (replacement?.Items?.Contains(item) is not true)
            {
                item.parent = null;
            }
        }
    }

    /// <summary>Makes new items speak the character set of this data set, or, when they go beyond ASCII, all of it UTF-8.</summary>
    private void Naturalize(IReadOnlyList<DataSet> items)
    {
        if (items.Any(item => !item.IsPlainText))
        {
            ConvertToUtf8();
            return;
        }

        foreach (DataSet item in items)
        {
            item.Inherit(CharacterSet);
        }
    }

    /// <summary>True when all text, here and in items, is ASCII and is read so.</summary>
    private bool IsPlainText => CharacterSet.ReadsAsciiAsAscii && elements.All(element =>
        (!element.Vr.UsesCharacterSet() || CharacterSet.IsPlain(element.Value.Span)) && (element.Items ?? []).All(item => item.IsPlainText));

    private void Inherit(CharacterSet set)
    {
        Remove(Tags.SpecificCharacterSet);
        CharacterSet = set;
        foreach (DataSet item in elements.SelectMany(element => element.Items ?? []))
        {
            item.Inherit(set);
        }
    }

    /// <summary>Text is written in UTF-8 only, so a caller may say that, or as long as all is ASCII, nothing or ASCII.</summary>
    private void DeclareByHand(string terms)
    {
        if (terms == "ISO_IR 192")
        {
            ConvertToUtf8();
        }
        else if (terms is "" or "ISO_IR 6" && IsPlainText)
        {
            Put(Element.FromBytes(Tags.SpecificCharacterSet, Vr.CS, Encoding.ASCII.GetBytes(terms)));
            CharacterSet = CharacterSet.FromSpecificCharacterSet([terms]);
        }
        else
        {
            throw Breach(Tags.SpecificCharacterSet, "text is written as UTF-8, which is ISO_IR 192 and is declared by itself (PS3.3 C.12.1.1.2)");
        }
    }

    private void Resolve(CharacterSet? fallback, CharacterSet inherited)
    {
        IReadOnlyList<string> values = GetStrings(Tags.SpecificCharacterSet);
        CharacterSet = values.Count == 0 ? inherited : CharacterSet.FromSpecificCharacterSet(values, fallback);
        foreach (DataSet item in elements.SelectMany(element => element.Items ?? []))
        {
            item.Resolve(fallback, CharacterSet);
        }
    }

    private void CollectTextFlaws(string path, List<string> flaws, CharacterSet? inherited)
    {
        if (CharacterSet.Flaw is { } wrong && CharacterSet != inherited)
        {
            flaws.Add($"{path}{Name(Tags.SpecificCharacterSet)}: {wrong}");
        }

        foreach (Element element in elements)
        {
            if (flaws.Count >= MaximumTextFlaws)
            {
                return;
            }

            if (element.Items is { } items)
            {
                for (int at = 0; at < items.Count; at++)
                {
                    items[at].CollectTextFlaws($"{path}{Name(element.Tag)}[{at + 1}]/", flaws, CharacterSet);
                }
            }
            else if (element.Vr.IsText() && !element.Value.IsEmpty)
            {
                CharacterSet.Decode(element.Value.Span, element.Vr, out string? flaw);
                if (flaw is not null)
                {
                    flaws.Add($"{path}{Name(element.Tag)}: the text {flaw}");
                }
            }
        }
    }

    private static string Name(Tag tag) => TagDictionary.Find(tag) is { } entry ? $"{tag} {entry.Keyword}" : tag.ToString();
}
