using System.Buffers.Binary;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Part10;

/// <summary>
/// Writes data sets (PS3.5 section 7 and Annex A, edition 2025e) in little endian, implicit or explicit, native or encapsulated. The same data set
/// always gives the same bytes: sequences and items have defined lengths, retired group lengths are left out, odd values are padded by
/// <see cref="VrFacts.PaddingByte"/>. A value beyond 65,534 bytes of a representation with a short length goes out as UN, as PS3.5 section
/// 6.2.2 has it. This is the one place that pads and that limits lengths.
/// </summary>
public static class ElementWriter
{
    /// <summary>Longest even value of a representation with a 16-bit length field.</summary>
    public const int MaxShortLength = 0xFFFE;

    private const uint Undefined = 0xFFFFFFFF;
    private const int ItemHeader = 8;

    /// <summary>
    /// The encoded data set: what is small as literal bytes, pixels as ranges of the files where they are. Its length is known, and reading it twice
    /// gives the same bytes.
    /// </summary>
    /// <exception cref="ArgumentException">Big endian or deflated asked for, pixels that do not fit the transfer syntax, or too long a value.</exception>
    public static PixelSource Encode(DataSet dataSet, TransferSyntax syntax)
    {
        ArgumentNullException.ThrowIfNull(dataSet);
        ArgumentNullException.ThrowIfNull(syntax);
        if (syntax.IsBigEndian || syntax.IsDeflated)
        {
            throw new ArgumentException($"{syntax.Name} is read only; write explicit or implicit little endian.", nameof(syntax));
        }

        CheckPixels(dataSet, syntax);
        return new Encoding(syntax.IsExplicit).Run(dataSet);
    }

    /// <summary>The encoded data set in memory; for data sets without large pixels.</summary>
    /// <exception cref="ArgumentException">As with <see cref="Encode"/>.</exception>
    /// <exception cref="IOException">Pixels of a file could not be read.</exception>
    public static byte[] ToBytes(DataSet dataSet, TransferSyntax syntax)
    {
        PixelSource encoded = Encode(dataSet, syntax);
        byte[] bytes = new byte[encoded.Length];
        using Stream stream = encoded.OpenRead();
        stream.ReadExactly(bytes);
        return bytes;
    }

    /// <summary>Only Pixel Data of the top level is bound to the syntax; an icon's inside an item may be either (PS3.5 section A.4).</summary>
    private static void CheckPixels(DataSet dataSet, TransferSyntax syntax)
    {
        if (dataSet[Tags.PixelData] is not { } pixels)
        {
            return;
        }

        if (pixels.Encapsulated is not null && !syntax.IsEncapsulated)
        {
            throw new ArgumentException($"{syntax.Name} holds no encapsulated pixels; encode with the syntax of the fragments.", nameof(syntax));
        }

        if (pixels.Encapsulated is null && syntax.IsEncapsulated)
        {
            throw new ArgumentException($"{syntax.Name} holds only encapsulated pixels (PS3.5 A.4).", nameof(syntax));
        }
    }

    private static long Even(long length) => length + (length & 1);

    /// <summary>Group lengths are retired but for commands and file meta information, where the caller made them (PS3.5 section 7.2).</summary>
    private static bool IsLeftOut(Tag tag) => tag.IsGroupLength && tag.Group > 0x0002;

    /// <summary>
    /// One run: the first pass adds up lengths, those of sequences and items in the order in which the second pass needs them; the second
    /// fills one array and notes where pixels of elsewhere go in between.
    /// </summary>
    private sealed class Encoding(bool isExplicit)
    {
        private readonly List<uint> lengths = [];
        private readonly List<(int At, PixelSource Source)> insertions = [];
        private byte[] literal = [];
        private int literalLength;
        private int nextLength;
        private int at;

        public PixelSource Run(DataSet dataSet)
        {
            Measure(dataSet);
            literal = new byte[literalLength];
            Write(dataSet);
            if (insertions.Count == 0)
            {
                return PixelSource.FromBytes(literal);
            }

            var parts = new List<PixelSource>((insertions.Count * 2) + 1);
            int done = 0;
            foreach ((int insertAt, PixelSource source) in insertions)
            {
                parts.Add(PixelSource.FromBytes(literal.AsMemory(done..insertAt)));
                parts.Add(source);
                done = insertAt;
            }

            parts.Add(PixelSource.FromBytes(literal.AsMemory(done)));
            return PixelSource.Concat(parts);
        }

        private long Measure(DataSet dataSet)
        {
            long total = 0;
            foreach (Element element in dataSet)
            {
                if (!IsLeftOut(element.Tag))
                {
                    total += Measure(element);
                }
            }

            return total;
        }

        private long Measure(Element element)
        {
            if (element.Vr == Vr.None || element.Tag.Group == 0xFFFE)
            {
                throw new ArgumentException($"{element.Tag} is not an element that a data set can hold (PS3.5 7.5).");
            }

            int header = HeaderSize(element);
            literalLength = checked(literalLength + header);
            return header + MeasureValue(element);
        }

        private long MeasureValue(Element element)
        {
            if (element.Items is { } items)
            {
                int slot = Reserve();
                long total = 0;
                foreach (DataSet item in items)
                {
                    int itemSlot = Reserve();
                    literalLength += ItemHeader;
                    long length = Measure(item);
                    lengths[itemSlot] = Checked(element.Tag, length);
                    total += ItemHeader + length;
                }

                lengths[slot] = Checked(element.Tag, total);
                return total;
            }

            if (element.Encapsulated is { } encapsulated)
            {
                long total = ItemHeader + Even(encapsulated.OffsetTable.Length) + ItemHeader;
                literalLength = checked(literalLength + (int)total);
                foreach (PixelSource fragment in encapsulated.Fragments)
                {
                    Checked(element.Tag, fragment.Length);
                    int padding = (int)(fragment.Length & 1);
                    literalLength = checked(literalLength + ItemHeader + padding);
                    total += ItemHeader + fragment.Length + padding;
                }

                return total;
            }

            if (element.Pixels is { } pixels)
            {
                literalLength += (int)(pixels.Length & 1);
                return Checked(element.Tag, Even(pixels.Length));
            }

            int even = (int)Even(element.Value.Length);
            literalLength = checked(literalLength + even);
            return even;
        }

        private int HeaderSize(Element element) => isExplicit && RepresentationOf(element).HasLongLength() ? 12 : 8;

        private static Vr RepresentationOf(Element element) =>
            element.Vr.HasLongLength() || Math.Max(element.Value.Length, element.Pixels?.Length ?? 0) <= MaxShortLength ? element.Vr : Vr.UN;

        private int Reserve()
        {
            lengths.Add(0);
            return lengths.Count - 1;
        }

        private static uint Checked(Tag tag, long length) => Even(length) < Undefined
            ? (uint)length
            : throw new ArgumentException($"{tag} would be {length} bytes long; a length field ends at 4,294,967,294 (PS3.5 7.1.1).");

        private void Write(DataSet dataSet)
        {
            foreach (Element element in dataSet)
            {
                if (!IsLeftOut(element.Tag))
                {
                    Write(element);
                }
            }
        }

        private void Write(Element element)
        {
            if (element.Items is { } items)
            {
                WriteHeader(element, lengths[nextLength++]);
                foreach (DataSet item in items)
                {
                    WriteItemHeader(Tag.Item, lengths[nextLength++]);
                    Write(item);
                }
            }
            else if (element.Encapsulated is { } encapsulated)
            {
                WriteHeader(element, Undefined);
                WriteItemHeader(Tag.Item, (uint)Even(encapsulated.OffsetTable.Length));
                WriteBytes(encapsulated.OffsetTable.Span, 0);
                foreach (PixelSource fragment in encapsulated.Fragments)
                {
                    WriteItemHeader(Tag.Item, (uint)Even(fragment.Length));
                    Insert(fragment, 0);
                }

                WriteItemHeader(Tag.SequenceDelimitation, 0);
            }
            else if (element.Pixels is { } pixels)
            {
                WriteHeader(element, (uint)Even(pixels.Length));
                Insert(pixels, element.Vr.PaddingByte());
            }
            else
            {
                WriteHeader(element, (uint)Even(element.Value.Length));
                WriteBytes(element.Value.Span, element.Vr.PaddingByte());
            }
        }

        private void WriteHeader(Element element, uint length)
        {
            WriteTag(element.Tag);
            if (!isExplicit)
            {
                WriteUInt32(length);
                return;
            }

            Vr vr = RepresentationOf(element);
            literal[at++] = (byte)((ushort)vr >> 8);
            literal[at++] = (byte)vr;
            if (vr.HasLongLength())
            {
                at += 2;
                WriteUInt32(length);
            }
            else
            {
                BinaryPrimitives.WriteUInt16LittleEndian(literal.AsSpan(at), (ushort)length);
                at += 2;
            }
        }

        private void WriteItemHeader(Tag tag, uint length)
        {
            WriteTag(tag);
            WriteUInt32(length);
        }

        private void WriteTag(Tag tag)
        {
            BinaryPrimitives.WriteUInt16LittleEndian(literal.AsSpan(at), tag.Group);
            BinaryPrimitives.WriteUInt16LittleEndian(literal.AsSpan(at + 2), tag.Number);
            at += 4;
        }

        private void WriteUInt32(uint value)
        {
            BinaryPrimitives.WriteUInt32LittleEndian(literal.AsSpan(at), value);
            at += 4;
        }

        private void WriteBytes(ReadOnlySpan<byte> value, byte padding)
        {
            value.CopyTo(literal.AsSpan(at));
            at += value.Length;
            if ((value.Length & 1) != 0)
            {
                literal[at++] = padding;
            }
        }

        private void Insert(PixelSource source, byte padding)
        {
            insertions.Add((at, source));
            if ((source.Length & 1) != 0)
            {
                literal[at++] = padding;
            }
        }
    }
}
