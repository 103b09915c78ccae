using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using Xunit;

namespace CameraBridge.Tests.Dicom.Part10;

/// <summary>The worked examples of PS3.5 section 7.5 (Tables 7.5-1 to 7.5-3) and of section A.4 (Tables A.4-1 and A.4-2), edition 2025e; the
/// layouts are written down from memory, the "gggg,eeee" of the tables filled with real tags.</summary>
public sealed class SequenceEncodingTests
{
    // (0040,0275) Request Attributes Sequence; (0040,0007) Scheduled Procedure Step Description, LO; the value "AB".
    private const string ImplicitItemElement = "40000700 02000000 4142";
    private const string ExplicitItemElement = "40000700 4C4F 0200 4142";

    [Fact]
    public void Table_7_5_1_a_sequence_of_three_items_of_defined_length_in_implicit_little_endian()
    {
        // Tag, length 54 = 3 x (8 + 10); each item: (FFFE,E000), length 10, one element.
        string item = $"FEFF00E0 0A000000 {ImplicitItemElement} ";
        byte[] bytes = Hex($"40007502 36000000 {item}{item}{item}");

        DataSet dataSet = ElementReader.Read(bytes, TransferSyntax.ImplicitLittleEndian);

        AssertItems(dataSet, 3);
        Assert.Equal(bytes, ElementWriter.ToBytes(dataSet, TransferSyntax.ImplicitLittleEndian));
    }

    [Fact]
    public void Table_7_5_2_a_sequence_of_undefined_length_with_two_items_of_defined_length_in_explicit_little_endian()
    {
        // Tag, "SQ", reserved, length FFFFFFFF; two items with their length; (FFFE,E0DD), length 0.
        string item = $"FEFF00E0 0A000000 {ExplicitItemElement} ";
        byte[] bytes = Hex($"40007502 5351 0000 FFFFFFFF {item}{item} FEFFDDE0 00000000");

        DataSet dataSet = ElementReader.Read(bytes, TransferSyntax.ExplicitLittleEndian);

        AssertItems(dataSet, 2);
        // We write defined lengths: 36 = 2 x (8 + 10).
        Assert.Equal(Hex($"40007502 5351 0000 24000000 {item}{item}"), ElementWriter.ToBytes(dataSet, TransferSyntax.ExplicitLittleEndian));
    }

    [Fact]
    public void Table_7_5_3_a_sequence_of_undefined_length_with_an_item_of_defined_and_one_of_undefined_length()
    {
        // Implicit: tag, FFFFFFFF; an item of length 10; an item of length FFFFFFFF closed by (FFFE,E00D); (FFFE,E0DD).
        byte[] bytes = Hex($"""
            40007502 FFFFFFFF
            FEFF00E0 0A000000 {ImplicitItemElement}
            FEFF00E0 FFFFFFFF {ImplicitItemElement} FEFF0DE0 00000000
            FEFFDDE0 00000000
            """);

        AssertItems(ElementReader.Read(bytes, TransferSyntax.ImplicitLittleEndian), 2);
    }

    [Fact]
    public void A_sequence_after_a_sequence_of_undefined_length_is_read()
    {
        // The second sequence, (0040,A730) Content Sequence, is empty; its place shows that the first ended where it should.
        byte[] bytes = Hex($"40007502 FFFFFFFF FEFF00E0 FFFFFFFF {ImplicitItemElement} FEFF0DE0 00000000 FEFFDDE0 00000000 400030A7 00000000");

        DataSet dataSet = ElementReader.Read(bytes, TransferSyntax.ImplicitLittleEndian);

        AssertItems(dataSet, 1);
        Assert.Empty(dataSet[new Tag(0x0040, 0xA730)]!.Items!);
    }

    [Fact]
    public void Unknown_of_undefined_length_holds_a_sequence_in_implicit_little_endian()
    {
        // PS3.5 section 6.2.2, note: (0009,1010) private, "UN", reserved, FFFFFFFF; the item's element has no representation.
        byte[] bytes = Hex($"09001010 554E 0000 FFFFFFFF FEFF00E0 FFFFFFFF {ImplicitItemElement} FEFF0DE0 00000000 FEFFDDE0 00000000");

        DataSet dataSet = ElementReader.Read(bytes, TransferSyntax.ExplicitLittleEndian);

        Element sequence = dataSet[new Tag(0x0009, 0x1010)]!;
        Assert.Equal(Vr.SQ, sequence.Vr);
        Assert.Equal(Vr.LO, Assert.Single(sequence.Items!)[new Tag(0x0040, 0x0007)]!.Vr);
    }

    [Fact]
    public void Table_A_4_1_fragments_with_an_empty_offset_table()
    {
        // (7FE0,0010) "OB" FFFFFFFF; empty offset table; three fragments (here of 4, 2 and 6 bytes); (FFFE,E0DD).
        byte[] bytes = Hex("""
            E07F1000 4F42 0000 FFFFFFFF
            FEFF00E0 00000000
            FEFF00E0 04000000 01020304
            FEFF00E0 02000000 0506
            FEFF00E0 06000000 0708090A0B0C
            FEFFDDE0 00000000
            """);

        DataSet dataSet = ElementReader.Read(bytes, TransferSyntax.JpegBaseline);

        EncapsulatedPixels pixels = dataSet[Tags.PixelData]!.Encapsulated!;
        Assert.Equal(0, pixels.OffsetTable.Length);
        Assert.Equal([4, 2, 6], pixels.Fragments.Select(fragment => fragment.Length));
        Assert.Equal(bytes, ElementWriter.ToBytes(dataSet, TransferSyntax.JpegBaseline));
    }

    [Fact]
    public void Table_A_4_2_fragments_of_two_frames_with_their_offset_table()
    {
        // Two frames; frame 1 has two fragments, so frame 2 begins at 2 x 8 + 4 + 2 = 22 = 16H after the first fragment's item tag.
        byte[] bytes = Hex("""
            E07F1000 4F42 0000 FFFFFFFF
            FEFF00E0 08000000 00000000 16000000
            FEFF00E0 04000000 01020304
            FEFF00E0 02000000 0506
            FEFF00E0 06000000 0708090A0B0C
            FEFFDDE0 00000000
            """);

        DataSet dataSet = ElementReader.Read(bytes, TransferSyntax.JpegBaseline);

        Assert.Equal(Hex("00000000 16000000"), dataSet[Tags.PixelData]!.Encapsulated!.OffsetTable.ToArray());
        Assert.Equal(bytes, ElementWriter.ToBytes(dataSet, TransferSyntax.JpegBaseline));
    }

    internal static byte[] Hex(string text) => Convert.FromHexString(string.Concat(text.Where(char.IsAsciiHexDigit)));

    private static void AssertItems(DataSet dataSet, int count)
    {
        IReadOnlyList<DataSet> items = dataSet[Tags.RequestAttributesSequence]!.Items!;
        Assert.Equal(count, items.Count);
        Assert.All(items, item => Assert.Equal("AB"u8, item[Tags.ScheduledProcedureStepDescription]!.Value.Span));
    }
}
