using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Tests.Peers;
using Xunit;
using static CameraBridge.Tests.Dicom.Part10.SequenceEncodingTests;

namespace CameraBridge.Tests.Dicom.Part10;

/// <summary>
/// Worked examples of encapsulated pixel data, PS3.5 Annex A. The tables' lengths are from memory (edition 2017c on); that the offset of Table A.4-2 is the sum
/// of its lengths shows that they are remembered right. Contents of fragments are ours, their lengths are the tables'.
/// </summary>
public sealed class EncapsulationExamplesTests
{
    private static readonly Tag PixelDataTag = Tags.PixelData;

    [Fact]
    public void Table_A_4_1_one_frame_in_three_fragments_without_offset_table()
    {
        // PS3.5 Table A.4-1: (7FE0,0010) OB 0000 FFFFFFFF; item 00000000; items of 000004C6H, 0000024AH and 00000628H bytes; (FFFE,E0DD) 00000000.
        int[] lengths = [0x4C6, 0x24A, 0x628];

        byte[] bytes = ElementWriter.ToBytes(Encapsulated([], lengths), TransferSyntax.JpegBaseline);

        Assert.Equal(Hex("E07F1000 4F42 0000 FFFFFFFF FEFF00E0 00000000 FEFF00E0 C6040000"), bytes[..28]);
        Assert.Equal(Hex("FEFF00E0 4A020000"), bytes[(28 + 0x4C6)..][..8]);
        Assert.Equal(Hex("FEFF00E0 28060000"), bytes[(36 + 0x4C6 + 0x24A)..][..8]);
        Assert.Equal(Hex("FEFFDDE0 00000000"), bytes[^8..]);
        Assert.Equal(12 + 8 + (3 * 8) + lengths.Sum() + 8, bytes.Length);
        AssertReadsBack(bytes, [], lengths);
    }

    [Fact]
    public void Table_A_4_2_two_frames_in_three_fragments_with_offset_table()
    {
        // PS3.5 Table A.4-2: offsets 00000000H and 00000646H; fragments of 2C8H and 36EH bytes are frame 1, one of BC8H bytes is frame 2.
        // The offset counts from the first byte of the first item tag behind the table: 8 + 2C8H + 8 + 36EH = 646H.
        Assert.Equal(0x646, 8 + 0x2C8 + 8 + 0x36E);
        byte[] offsets = Hex("00000000 46060000");
        int[] lengths = [0x2C8, 0x36E, 0xBC8];

        byte[] bytes = ElementWriter.ToBytes(Encapsulated(offsets, lengths), TransferSyntax.JpegBaseline);

        Assert.Equal(Hex("E07F1000 4F42 0000 FFFFFFFF FEFF00E0 08000000 00000000 46060000 FEFF00E0 C8020000"), bytes[..36]);
        const int FirstItem = 28;
        Assert.Equal(Hex("FEFF00E0 C80B0000"), bytes[(FirstItem + 0x646)..][..8]);
        AssertReadsBack(bytes, offsets, lengths);
    }

    [Fact]
    public void Section_A_4_a_jpeg_of_odd_length_is_padded_behind_its_EOI()
    {
        // PS3.5 section A.4, edition 2025e: a fragment has even length and is padded after the end of the stream; before SOI nothing may stand.
        byte[] bytes = ElementWriter.ToBytes(Of(PixelSource.FromBytes(Hex("FFD8 AA BB CC FFD9"))), TransferSyntax.JpegBaseline);

        Assert.Equal(Hex("E07F1000 4F42 0000 FFFFFFFF FEFF00E0 00000000 FEFF00E0 08000000 FFD8AABBCCFFD9 00 FEFFDDE0 00000000"), bytes);
    }

    [Theory]
    [InlineData(TransferSyntaxes.MPEG2MPML)]
    [InlineData(TransferSyntaxes.MPEG2MPHL)]
    [InlineData(TransferSyntaxes.MPEG4HP41)]
    [InlineData(TransferSyntaxes.MPEG4HP41BD)]
    [InlineData(TransferSyntaxes.MPEG4HP422D)]
    [InlineData(TransferSyntaxes.HEVCMP51)]
    public void Section_8_2_5_a_video_stream_is_one_fragment_behind_an_empty_offset_table(string TransferSyntaxUID)
    {
        // PS3.5 section 8.2.5 and its sisters, edition 2017c: "one fragment shall contain the whole bit stream"; the offset table's item is there, of length 0.
        byte[] bytes = ElementWriter.ToBytes(Of(PixelSource.FromBytes(new byte[0x1235])), TransferSyntax.Find(TransferSyntaxUID)!);

        // 1235H is odd: the item has 1236H.
        Assert.Equal(Hex("E07F1000 4F42 0000 FFFFFFFF FEFF00E0 00000000 FEFF00E0 36120000"), bytes[..28]);
        Assert.Equal(28 + 0x1236 + 8, bytes.Length);
    }

    [Fact]
    public void Fragmentable_video_is_the_stream_again_when_its_fragments_are_put_together()
    {
        // PS3.5 section 8.2.7 and Annex A, edition 2024d: in a fragmentable syntax a fragment may end anywhere in the stream.
        byte[] stream = [.. Enumerable.Range(0, 1000).Select(number => (byte)number)];
        PixelSource whole = PixelSource.FromBytes(stream);

        byte[] bytes = ElementWriter.ToBytes(
            Of(PixelSource.FromBytes(stream.AsMemory(0, 334)), PixelSource.FromBytes(stream.AsMemory(334, 333 + 1)), PixelSource.FromBytes(stream.AsMemory(668))),
            TransferSyntax.Find(TransferSyntaxes.MPEG4HP41F)!);

        DataSet dataSet = ElementReader.Read(bytes, TransferSyntax.Find(TransferSyntaxes.MPEG4HP41F)!);
        Assert.Equal(whole.Length, dataSet[PixelDataTag]!.Encapsulated!.Fragments.Sum(fragment => fragment.Length));
        Assert.Equal(stream, dataSet[PixelDataTag]!.Encapsulated!.Fragments.SelectMany(ElementReaderTests.Bytes));
    }

    [Fact]
    public async Task Pydicom_finds_the_frames_of_Table_A_4_2_by_its_offsets()
    {
        byte[] value = ElementWriter.ToBytes(Encapsulated(Hex("00000000 46060000"), [0x2C8, 0x36E, 0xBC8]), TransferSyntax.JpegBaseline)[12..];
        string path = Path.GetTempFileName();
        try
        {
            await File.WriteAllBytesAsync(path, value, TestContext.Current.CancellationToken);
            string said = await OutsideProgram.RunAsync(
                OutsideProgram.Python, "-c",
                "import sys; from pydicom.encaps import generate_pixel_data_frame as frames; print([len(f) for f in frames(open(sys.argv[1],'rb').read(), 2)])", path);

            Assert.Equal($"[{0x2C8 + 0x36E}, {0xBC8}]", said.Trim());
        }
        finally
        {
            File.Delete(path);
        }
    }

    private static DataSet Of(params PixelSource[] fragments) => With(default, fragments);

    private static DataSet Encapsulated(byte[] offsets, int[] lengths) => With(offsets, [.. lengths.Select(length => PixelSource.FromBytes(new byte[length]))]);

    private static DataSet With(ReadOnlyMemory<byte> offsets, PixelSource[] fragments)
    {
        var dataSet = new DataSet();
        dataSet.Put(Element.FromEncapsulated(PixelDataTag, new EncapsulatedPixels(offsets, fragments)));
        return dataSet;
    }

    private static void AssertReadsBack(byte[] bytes, byte[] offsets, int[] lengths)
    {
        EncapsulatedPixels pixels = ElementReader.Read(bytes, TransferSyntax.JpegBaseline)[PixelDataTag]!.Encapsulated!;
        Assert.Equal(offsets, pixels.OffsetTable.ToArray());
        Assert.Equal(lengths.Select(length => (long)length), pixels.Fragments.Select(fragment => fragment.Length));
    }
}
