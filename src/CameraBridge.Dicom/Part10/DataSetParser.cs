using System.Buffers.Binary;
using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Part10;

/// <summary>
/// Reads the encoding of PS3.5 section 7 and Annex A (edition 2025e). Lengths are held against the bytes that are there, then against the
/// limits, before anything is allocated; nesting is counted; so what it costs is bounded by what was handed in.
/// </summary>
internal sealed class DataSetParser(ByteSource source, TransferSyntax syntax, ReadLimits limits, ICollection<ReadFinding>? findings)
{
    private const uint Undefined = 0xFFFFFFFF;
    private const int MaxFindings = 100;

    private readonly List<(Tag Tag, int Item)> path = [];
    private int elementCount;

    /// <summary>An element's header as found.</summary>
    private readonly record struct Header(Tag Tag, Vr Vr, uint Length, int Size);

    /// <summary>How the bytes at hand are encoded; differs from the transfer syntax inside UN of undefined length.</summary>
    private readonly record struct Mode(bool IsExplicit, bool IsBigEndian);

    private Mode TopMode => new(syntax.IsExplicit, syntax.IsBigEndian);

    /// <summary>Where the last read ended.</summary>
    public long Position { get; private set; }

    /// <summary>Reads a data set up to the end of the source.</summary>
    public DataSet ReadAll(long start)
    {
        Position = start;
        DataSet dataSet = ReadElements(source.Length, TopMode, isItemOfUndefinedLength: false, signedPixels: false, uint.MaxValue);
        dataSet.ResolveCharacterSets();
        return dataSet;
    }

    /// <summary>Reads elements up to <paramref name="end"/>, but only as long as their group is this one (the file meta information).</summary>
    public DataSet ReadGroup(long start, long end, ushort group)
    {
        Position = start;
        path.Clear();
        return ReadElements(end, TopMode, isItemOfUndefinedLength: false, signedPixels: false, group);
    }

    private DataSet ReadElements(long end, Mode mode, bool isItemOfUndefinedLength, bool signedPixels, uint onlyGroup)
    {
        var elements = new List<Element>();
        bool inOrder = true;
        while (true)
        {
            if (Position == end)
            {
                if (isItemOfUndefinedLength)
                {
                    throw Malformed("the item has no delimitation (PS3.5 7.5.2)");
                }

                break;
            }

            if (IsPastGroup(end, onlyGroup) || IsTrailingZeros(end, elements))
            {
                break;
            }

            long start = Position;
            Header header = ReadHeader(end, mode, signedPixels);
            if (header.Tag == Tag.ItemDelimitation)
            {
                if (!isItemOfUndefinedLength)
                {
                    throw Malformed("an item delimitation where no item of undefined length is open (PS3.5 7.5.2)");
                }

                Position = start + header.Size;
                break;
            }

            Count();
            path.Add((header.Tag, 0));
            Position = start + header.Size;
            Element element = ReadValue(header, end, mode, signedPixels);
            path.RemoveAt(path.Count - 1);
            inOrder &= elements.Count == 0 || elements[^1].Tag < element.Tag;
            elements.Add(element);
            if (element.Tag == Tags.PixelRepresentation && element.Value.Length >= 2)
            {
                signedPixels = BinaryPrimitives.ReadUInt16LittleEndian(element.Value.Span) == 1;
            }
        }

        return ToDataSet(elements, inOrder);
    }

    private DataSet ToDataSet(List<Element> elements, bool inOrder)
    {
        var dataSet = new DataSet();
        if (!inOrder)
        {
            // Sorted once (and stable), not inserted one by one, which hostile bytes could make slow. Of equal tags the first one stays.
            Find("tags are not in ascending order, or one is there twice (PS3.5 7.1); the first of its kind was taken");
            elements = [.. elements.OrderBy(element => element.Tag).DistinctBy(element => element.Tag)];
        }

        foreach (Element element in elements)
        {
            dataSet.Put(element);
        }

        return dataSet;
    }

    private Header ReadHeader(long end, Mode mode, bool signedPixels)
    {
        if (end - Position < 8)
        {
            throw Malformed("fewer than the 8 bytes of an element's header are left (PS3.5 7.1)");
        }

        ReadOnlySpan<byte> bytes = source.Peek(Position, (int)Math.Min(12, end - Position));
        var tag = new Tag(UInt16(bytes, mode), UInt16(bytes[2..], mode));
        if (tag.Group == 0xFFFE)
        {
            return new Header(tag, Vr.None, UInt32(bytes[4..], mode), 8);
        }

        if (!mode.IsExplicit)
        {
            return new Header(tag, TagDictionary.VrOf(tag, signedPixels), UInt32(bytes[4..], mode), 8);
        }

        var vr = (Vr)((bytes[4] << 8) | bytes[5]);
        if (!vr.IsKnown())
        {
            if (!char.IsAsciiLetterUpper((char)bytes[4]) || !char.IsAsciiLetterUpper((char)bytes[5]))
            {
                throw Malformed($"{tag} has no value representation, which the transfer syntax asks for (PS3.5 7.1.2)");
            }

            // A representation of a later edition: those have the long form (PS3.5 7.1.2), and for us the value is bytes.
            Find($"{tag} has a value representation that edition 2025e does not know; taken as UN (PS3.5 6.2)");
            vr = Vr.UN;
        }

        if (!vr.HasLongLength())
        {
            return new Header(tag, vr, UInt16(bytes[6..], mode), 8);
        }

        if (bytes.Length < 12)
        {
            throw Malformed("fewer than the 12 bytes of an element's header are left (PS3.5 7.1.2)");
        }

        return new Header(tag, vr, UInt32(bytes[8..], mode), 12);
    }

    private Element ReadValue(Header header, long end, Mode mode, bool signedPixels)
    {
        if (header.Tag.Group == 0xFFFE)
        {
            throw Malformed($"{header.Tag} stands where an element is expected (PS3.5 7.5)");
        }

        bool isPixels = header.Tag.Group == 0x7FE0 && header.Tag.Number is 0x0008 or 0x0009 or 0x0010;
        if (header.Length == Undefined)
        {
            return (header.Vr, isPixels) switch
            {
                (Vr.SQ, _) => ReadSequence(header, end, isUndefined: true, mode, signedPixels),
                (Vr.OB or Vr.OW, _) or (_, true) when mode.IsExplicit || isPixels => ReadFragments(header, end, mode),
                // PS3.5 6.2.2: a sequence whose representation somebody on the way did not know; implicit little endian inside.
                (Vr.UN, _) => ReadSequence(header, end, isUndefined: true, new Mode(false, false), signedPixels),
                _ when !mode.IsExplicit => ReadSequence(header, end, isUndefined: true, mode, signedPixels),
                _ => throw Malformed("an undefined length in an element that is neither a sequence nor encapsulated pixels (PS3.5 7.1.2)"),
            };
        }

        CheckFits(header.Length, end);
        if (header.Vr == Vr.SQ)
        {
            return ReadSequence(header, Position + header.Length, isUndefined: false, mode, signedPixels);
        }

        if ((header.Length & 1) != 0)
        {
            Find("the value has an odd length (PS3.5 7.1.1)");
        }

        int unit = mode.IsBigEndian ? header.Vr.UnitSize() : 1;
        Element element;
        if (isPixels && unit == 1)
        {
            element = Element.FromPixels(header.Tag, header.Vr, source.Range(Position, header.Length));
        }
        else
        {
            CheckAffordable(header.Length);
            ReadOnlyMemory<byte> value = source.Take(Position, (int)header.Length);
            value = unit == 1 ? value : Swapped(value.Span, unit);
            element = isPixels
                ? Element.FromPixels(header.Tag, header.Vr, PixelSource.FromBytes(value))
                : Element.FromBytes(header.Tag, header.Vr, value);
        }

        Position += header.Length;
        return element;
    }

    private Element ReadSequence(Header header, long end, bool isUndefined, Mode mode, bool signedPixels)
    {
        if (path.Count > limits.MaxDepth)
        {
            throw Malformed($"sequences are nested deeper than {nameof(ReadLimits)}.{nameof(ReadLimits.MaxDepth)} = {limits.MaxDepth}");
        }

        var items = new List<DataSet>();
        while (isUndefined || Position < end)
        {
            path[^1] = (header.Tag, items.Count + 1);
            (Tag tag, uint length) = ReadItemHeader(end, mode);
            if (tag == Tag.SequenceDelimitation && isUndefined)
            {
                break;
            }

            if (tag != Tag.Item)
            {
                throw Malformed($"{tag} stands where an item is expected (PS3.5 7.5)");
            }

            Count();
            if (length == Undefined)
            {
                items.Add(ReadElements(end, mode, isItemOfUndefinedLength: true, signedPixels, uint.MaxValue));
            }
            else
            {
                CheckFits(length, end);
                items.Add(ReadElements(Position + length, mode, isItemOfUndefinedLength: false, signedPixels, uint.MaxValue));
            }
        }

        return Element.FromItems(header.Tag, items);
    }

    private Element ReadFragments(Header header, long end, Mode mode)
    {
        ReadOnlyMemory<byte>? offsetTable = null;
        var fragments = new List<PixelSource>();
        while (true)
        {
            (Tag tag, uint length) = ReadItemHeader(end, mode);
            if (tag == Tag.SequenceDelimitation)
            {
                break;
            }

            if (tag != Tag.Item || length == Undefined)
            {
                throw Malformed($"{tag} or an undefined length stands where a fragment is expected (PS3.5 A.4)");
            }

            Count();
            CheckFits(length, end);
            if (offsetTable is null)
            {
                CheckAffordable(length);
                offsetTable = mode.IsBigEndian
                    ? Swapped(source.Take(Position, (int)length).Span, sizeof(uint))
                    : source.Take(Position, (int)length);
            }
            else
            {
                if ((length & 1) != 0)
                {
                    Find("a fragment has an odd length (PS3.5 A.4)");
                }

                fragments.Add(source.Range(Position, length));
            }

            Position += length;
        }

        if (offsetTable is null)
        {
            Find("encapsulated pixels without the item of the basic offset table (PS3.5 A.4)");
        }

        return Element.FromEncapsulated(header.Tag, new EncapsulatedPixels(offsetTable ?? default, fragments));
    }

    private (Tag Tag, uint Length) ReadItemHeader(long end, Mode mode)
    {
        if (end - Position < 8)
        {
            throw Malformed("the bytes end inside a sequence or encapsulated pixels, before their delimitation (PS3.5 7.5.2)");
        }

        ReadOnlySpan<byte> bytes = source.Peek(Position, 8);
        var tag = new Tag(UInt16(bytes, mode), UInt16(bytes[2..], mode));
        uint length = UInt32(bytes[4..], mode);
        Position += 8;
        return (tag, length);
    }

    /// <summary>Told by the group number alone: what follows may be encoded otherwise, or deflated.</summary>
    private bool IsPastGroup(long end, uint onlyGroup) => onlyGroup != uint.MaxValue
        && (end - Position < 8 || UInt16(source.Peek(Position, 2), TopMode) != onlyGroup);

    /// <summary>Zeros after the last element: some writers fill up a block. No element has tag (0000,0000) but the first of a command.</summary>
    private bool IsTrailingZeros(long end, List<Element> elements)
    {
        const int Most = 64 * 1024;
        if (path.Count > 0 || elements.Count == 0 || elements[^1].Tag.Group == 0 || end - Position > Most
            || source.Peek(Position, (int)Math.Min(4, end - Position)).ContainsAnyExcept((byte)0)
            || source.Peek(Position, (int)(end - Position)).ContainsAnyExcept((byte)0))
        {
            return false;
        }

        Find("zeros follow the last element (PS3.10 7.2)");
        Position = end;
        return true;
    }

    private void CheckFits(uint length, long end)
    {
        if (length > end - Position)
        {
            throw Malformed($"a length of {length} where {end - Position} bytes are left (PS3.5 7.1.1)");
        }
    }

    private void CheckAffordable(uint length)
    {
        if (length > limits.MaxElementBytes)
        {
            throw Malformed($"a length of {length}, above {nameof(ReadLimits)}.{nameof(ReadLimits.MaxElementBytes)} = {limits.MaxElementBytes}");
        }
    }

    private void Count()
    {
        if (++elementCount > limits.MaxElements)
        {
            throw Malformed($"more elements than {nameof(ReadLimits)}.{nameof(ReadLimits.MaxElements)} = {limits.MaxElements}");
        }
    }

    private void Find(string rule)
    {
        if (findings is not null && findings.Count < MaxFindings)
        {
            findings.Add(new ReadFinding(Position, PathText(), rule));
        }
    }

    private MalformedException Malformed(string rule) => new(Position, PathText(), rule);

    private string PathText()
    {
        var text = new StringBuilder();
        foreach ((Tag tag, int item) in path)
        {
            text.Append(text.Length > 0 ? "." : "").Append(tag);
            if (item > 0)
            {
                text.Append('[').Append(item).Append(']');
            }
        }

        return text.ToString();
    }

    private static ushort UInt16(ReadOnlySpan<byte> bytes, Mode mode) =>
        mode.IsBigEndian ? BinaryPrimitives.ReadUInt16BigEndian(bytes) : BinaryPrimitives.ReadUInt16LittleEndian(bytes);

    private static uint UInt32(ReadOnlySpan<byte> bytes, Mode mode) =>
        mode.IsBigEndian ? BinaryPrimitives.ReadUInt32BigEndian(bytes) : BinaryPrimitives.ReadUInt32LittleEndian(bytes);

    private static byte[] Swapped(ReadOnlySpan<byte> value, int unit)
    {
        byte[] swapped = value.ToArray();
        for (int at = 0; at + unit <= swapped.Length; at += unit)
        {
            swapped.AsSpan(at, unit).Reverse();
        }

        return swapped;
    }
}
