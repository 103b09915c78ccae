using System.Buffers.Text;
using System.Numerics;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Dictionary;

/// <summary>
/// The registry of data elements: PS3.6 edition 2025e and the command elements of PS3.7, 5,345 rows, 88 of which stand for repeating
/// groups or elements. Kept as text; a row becomes an object when it is first asked for.
/// </summary>
public static class TagDictionary
{
    private const int PatternDigits = 8;
    private const int VrColumn = 1, VmColumn = 2, RetiredColumn = 3, KeywordColumn = 4, NameColumn = 5;

    private static readonly Lazy<Index> Rows = new(() => new Index());
    private static readonly Lazy<Dictionary<string, int>> Keywords = new(ReadKeywords);

    /// <summary>Number of rows.</summary>
    public static int Count => Rows.Value.Text.Count;

    /// <summary>All rows in the order of their tags, repeating groups after the others, each under its lowest tag.</summary>
    public static IEnumerable<TagEntry> All
    {
        get
        {
            Index rows = Rows.Value;
            for (int at = 0; at < rows.Tags.Length; at++)
            {
                yield return rows.Entry(at);
            }

            foreach (Pattern pattern in rows.Patterns)
            {
                yield return rows.Parse(pattern.Row, rows.LowestOf(pattern));
            }
        }
    }

    /// <summary>
    /// The row of this tag. Repeating groups are even groups 5000 to 50FE, 6000 to 60FE and 7F02 to 7FFE, and the repeating elements of
    /// groups 0020, 0028, 1000 and 1010 (PS3.5 section 7.6).
    /// </summary>
    /// <returns>Null for private tags and for those that the edition does not have.</returns>
    public static TagEntry? Find(Tag tag)
    {
        if (tag.IsPrivate)
        {
            return null;
        }

        Index rows = Rows.Value;
        int at = Array.BinarySearch(rows.Tags, tag.Value);
        if (at >= 0)
        {
            return rows.Entry(at);
        }

        foreach (Pattern pattern in rows.Patterns)
        {
            if ((tag.Value & pattern.Mask) == pattern.Bits)
            {
                return rows.Parse(pattern.Row, tag);
            }
        }

        return null;
    }

    /// <summary>The row with this keyword, upper and lower case as in the standard.</summary>
    public static TagEntry? Find(string keyword)
    {
        ArgumentNullException.ThrowIfNull(keyword);
        if (!Keywords.Value.TryGetValue(keyword, out int row))
        {
            return null;
        }

        Index rows = Rows.Value;
        var pattern = Pattern.Read(rows.Text.Row(row)[..PatternDigits], row);
        return pattern.IsSingle ? Find(new Tag(pattern.Bits)) : rows.Parse(row, rows.LowestOf(pattern));
    }

    /// <summary>
    /// What to take an element for that comes without a value representation (implicit data sets, and JSON that leaves it out): the dictionary's,
    /// UL for a group length, LO for a private creator, UN for what is not known (PS3.5 sections 7.8.1 and A.1, edition 2025e).
    /// </summary>
    /// <param name="tag">The element's tag.</param>
    /// <param name="signedPixels">True when Pixel Representation is 1.</param>
    public static Vr VrOf(Tag tag, bool signedPixels = false)
    {
        if (tag.IsGroupLength)
        {
            return Vr.UL;
        }

        if (tag.IsPrivate)
        {
            return tag.IsPrivateCreator ? Vr.LO : Vr.UN;
        }

        return Find(tag) is { Vr: not Vr.None } entry ? entry.VrIn(signedPixels) : Vr.UN;
    }

    private static Dictionary<string, int> ReadKeywords()
    {
        RegistryText text = Rows.Value.Text;
        var keywords = new Dictionary<string, int>(text.Count, StringComparer.Ordinal);
        for (int row = 0; row < text.Count; row++)
        {
            if (text.Text(row, KeywordColumn) is { Length: > 0 } keyword)
            {
                keywords.Add(keyword, row);
            }
        }

        return keywords;
    }

    /// <summary>A row that stands for many tags: those that equal <see cref="Bits"/> where <see cref="Mask"/> is set.</summary>
    private readonly record struct Pattern(uint Bits, uint Mask, int Row)
    {
        public bool IsSingle => Mask == uint.MaxValue;

        public static Pattern Read(ReadOnlySpan<byte> digits, int row)
        {
            uint bits = 0;
            uint mask = 0;
            foreach (byte digit in digits)
            {
                bool open = digit == 'x';
                bits = (bits << 4) | (open ? 0 : (uint)(digit <= '9' ? digit - '0' : digit - 'A' + 10));
                mask = (mask << 4) | (open ? 0u : 15u);
            }

            return new Pattern(bits, mask, row);
        }
    }

    private sealed class Index
    {
        private readonly int[] rowOf;
        private readonly TagEntry?[] entries;

        public Index()
        {
            // This runs once, at start-up and before any optimised code: plain arrays and the framework's own hexadecimal reading, which is compiled
            // ahead, take half the time of lists and a loop over digits (8 ms and 18 ms on a busy machine).
            Text = RegistryText.Load("dictionary.tsv");
            uint[] tags = new uint[Text.Count];
            int[] singles = new int[Text.Count];
            var patterns = new Pattern[Text.Count];
            int singleCount = 0;
            int patternCount = 0;
            for (int row = 0; row < Text.Count; row++)
            {
                ReadOnlySpan<byte> digits = Text.Row(row)[..PatternDigits];
                if (Utf8Parser.TryParse(digits, out tags[singleCount], out int length, 'X') && length == PatternDigits)
                {
                    singles[singleCount++] = row;
                }
                else
                {
                    patterns[patternCount++] = Pattern.Read(digits, row);
                }
            }

            Tags = tags[..singleCount];
            rowOf = singles[..singleCount];
            Patterns = patterns[..patternCount];
            entries = new TagEntry?[Tags.Length];
        }

        public RegistryText Text { get; }

        public uint[] Tags { get; }

        public Pattern[] Patterns { get; }

        // Two threads may both parse a row the first time; the rows are equal, so it does not matter whose stays.
        public TagEntry Entry(int at) => entries[at] ??= Parse(rowOf[at], new Tag(Tags[at]));

        /// <summary>The lowest tag of a repeating row: not one that has a row of its own, such as (0028,0400), nor a group length.</summary>
        public Tag LowestOf(Pattern pattern)
        {
            bool isTaken = (pattern.Bits & 0xFFFF) == 0 || Array.BinarySearch(Tags, pattern.Bits) >= 0;
            return new Tag(isTaken ? pattern.Bits | (1u << BitOperations.TrailingZeroCount(~pattern.Mask)) : pattern.Bits);
        }

        public TagEntry Parse(int row, Tag tag)
        {
            Vr[] vrs = ReadVrs(Text.Column(row, VrColumn));
            return new TagEntry(
                tag,
                string.Intern(Text.Text(row, KeywordColumn)),
                vrs.Length == 0 ? Vr.None : vrs[0],
                vrs,
                string.Intern(Text.Text(row, VmColumn)),
                Text.Text(row, NameColumn),
                Text.Column(row, RetiredColumn) is [(byte)'R']);
        }

        private static Vr[] ReadVrs(ReadOnlySpan<byte> text)
        {
            // Two letters each, a bar between them; a lone hyphen for none.
            var vrs = new Vr[(text.Length + 1) / 3];
            for (int index = 0; index < vrs.Length; index++)
            {
                vrs[index] = (Vr)((text[index * 3] << 8) | text[(index * 3) + 1]);
            }

            return vrs;
        }
    }
}
