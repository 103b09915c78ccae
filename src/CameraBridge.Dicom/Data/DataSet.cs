using System.Collections;
using System.Diagnostics.CodeAnalysis;

namespace CameraBridge.Dicom.Data;

/// <summary>
/// A data set (PS3.5 section 7): elements in the order of their tags, each tag once. This part keeps them; reading and writing of typed
/// values stand in the other parts of the class.
/// </summary>
public sealed partial class DataSet : IEnumerable<Element>
{
    private readonly List<Element> elements = [];

    /// <summary>Number of elements at this level.</summary>
    public int Count => elements.Count;

    /// <summary>The element with this tag, or null.</summary>
    public Element? this[Tag tag] => TryFind(tag, out Element? element) ? element : null;

    /// <summary>True when the tag is there, even with an empty value.</summary>
    public bool Contains(Tag tag) => Find(tag) >= 0;

    /// <summary>The element with this tag.</summary>
    public bool TryFind(Tag tag, [NotNullWhen(true)] out Element? element)
    {
        int at = Find(tag);
        element = at >= 0 ? elements[at] : null;
        return at >= 0;
    }

    /// <summary>
    /// Puts an element in its place; one with the same tag is replaced. Bytes are taken as they are: see <see cref="CopyFrom"/> for elements of
    /// another data set. Items that stand in another data set are copied.
    /// </summary>
    public void Put(Element element)
    {
        ArgumentNullException.ThrowIfNull(element);
        element = Adopt(element);
        if (elements.Count == 0 || elements[^1].Tag < element.Tag)
        {
            elements.Add(element);
            return;
        }

        int at = Find(element.Tag);
        if (at >= 0)
        {
            Release(elements[at], element);
            elements[at] = element;
        }
        else
        {
            elements.Insert(~at, element);
        }
    }

    /// <summary>Takes the element out.</summary>
    /// <returns>False when it was not there.</returns>
    public bool Remove(Tag tag)
    {
        int at = Find(tag);
        if (at < 0)
        {
            return false;
        }

        Release(elements[at], null);
        elements.RemoveAt(at);
        return true;
    }

    /// <inheritdoc />
    public IEnumerator<Element> GetEnumerator() => elements.GetEnumerator();

    IEnumerator IEnumerable.GetEnumerator() => GetEnumerator();

    /// <summary>Index of the tag, or the complement of where it would stand.</summary>
    private int Find(Tag tag)
    {
        int low = 0;
        int high = elements.Count - 1;
        while (low <= high)
        {
            int middle = (low + high) >>> 1;
            int order = elements[middle].Tag.CompareTo(tag);
            if (order == 0)
            {
                return middle;
            }

            if (order < 0)
            {
                low = middle + 1;
            }
            else
            {
                high = middle - 1;
            }
        }

        return ~low;
    }
}
