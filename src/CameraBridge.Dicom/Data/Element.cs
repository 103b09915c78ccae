namespace CameraBridge.Dicom.Data;

/// <summary>
/// A data element (PS3.5 section 7.1): tag, value representation, and exactly one of a value, the items of a sequence, or streamed pixels.
/// Immutable. The value is kept as the bytes of the little endian encoding, so that what was not understood is never lost.
/// </summary>
public sealed class Element
{
    private Element(Tag tag, Vr vr, ReadOnlyMemory<byte> value, IReadOnlyList<DataSet>? items, PixelSource? pixels, EncapsulatedPixels? encapsulated)
    {
        Tag = tag;
        Vr = vr;
        Value = value;
        Items = items;
        Pixels = pixels;
        Encapsulated = encapsulated;
    }

    /// <summary>The tag.</summary>
    public Tag Tag { get; }

    /// <summary>The value representation; <see cref="Vr.UN"/> when an implicit data set holds a tag that no dictionary knows.</summary>
    public Vr Vr { get; }

    /// <summary>The value field in little endian, padding included if there was any; empty for sequences and streamed pixels.</summary>
    public ReadOnlyMemory<byte> Value { get; }

    /// <summary>The items of a sequence (SQ), else null.</summary>
    public IReadOnlyList<DataSet>? Items { get; }

    /// <summary>Native (not encapsulated) bulk bytes that are streamed from where they are, else null.</summary>
    public PixelSource? Pixels { get; }

    /// <summary>Encapsulated pixel data (PS3.5 section A.4), else null.</summary>
    public EncapsulatedPixels? Encapsulated { get; }

    /// <summary>True when there is no value, no item and no pixel: a "zero length" value of the standard.</summary>
    public bool IsEmpty => Value.IsEmpty && Items is not { Count: > 0 } && Pixels is not { Length: > 0 } && Encapsulated is null;

    /// <summary>An element with a value given as the bytes of the little endian encoding.</summary>
    public static Element FromBytes(Tag tag, Vr vr, ReadOnlyMemory<byte> value) => new(tag, vr, value, null, null, null);

    /// <summary>A sequence.</summary>
    public static Element FromItems(Tag tag, params IReadOnlyList<DataSet> items) => new(tag, Vr.SQ, default, items, null, null);

    /// <summary>Native bulk bytes, streamed.</summary>
    public static Element FromPixels(Tag tag, Vr vr, PixelSource pixels) => new(tag, vr, default, null, pixels, null);

    /// <summary>Encapsulated pixel data; its representation is always OB (PS3.5 section A.4).</summary>
    public static Element FromEncapsulated(Tag tag, EncapsulatedPixels pixels) => new(tag, Vr.OB, default, null, null, pixels);
}

/// <summary>Encapsulated pixel data (PS3.5 section A.4): the basic offset table and the fragments, each as long as it was found or as made.</summary>
/// <param name="OffsetTable">Value of the first item: 32-bit offsets, or empty.</param>
/// <param name="Fragments">The fragments in order. Writing pads an odd one with 00H.</param>
public sealed record EncapsulatedPixels(ReadOnlyMemory<byte> OffsetTable, IReadOnlyList<PixelSource> Fragments);
