using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using Xunit;
using static CameraBridge.Tests.Dicom.Part10.SequenceEncodingTests;

namespace CameraBridge.Tests.Dicom.Part10;

/// <summary>PS3.5 sections 6.2, 7 and A.4, edition 2025e, as written.</summary>
public sealed class ElementWriterTests
{
    [Fact]
    public void Odd_values_are_padded_by_their_representation()
    {
        var dataSet = new DataSet();
        dataSet.Set(Tags.Modality, "OPT"); // CS: space
        dataSet.Set(Tags.SOPClassUID, "1.2.3"); // UI: null
        dataSet.SetBytes(Tags.ICCProfile, new byte[] { 7 }); // OB: null

        Assert.Equal(
            Hex("08001600 5549 0600 312E322E3300  08006000 4353 0400 4F505420  28000020 4F42 0000 02000000 0700"),
            ElementWriter.ToBytes(dataSet, TransferSyntax.ExplicitLittleEndian));
        Assert.Equal(
            Hex("08001600 06000000 312E322E3300  08006000 04000000 4F505420  28000020 02000000 0700"),
            ElementWriter.ToBytes(dataSet, TransferSyntax.ImplicitLittleEndian));
    }

    [Fact]
    public void A_value_too_long_for_a_short_length_goes_out_as_unknown()
    {
        // PS3.5 section 6.2.2: 65,536 bytes of LO, which an implicit data set can hold: "UN", reserved, length 00010000.
        var dataSet = new DataSet();
        dataSet.Put(Element.FromBytes(Tags.PatientID, Vr.LO, new byte[65_536]));
        dataSet.Put(Element.FromBytes(Tags.PatientComments, Vr.LT, new byte[65_534]));

        byte[] bytes = ElementWriter.ToBytes(dataSet, TransferSyntax.ExplicitLittleEndian);

        Assert.Equal(Hex("10002000 554E 0000 00000100"), bytes[..12]);
        Assert.Equal(Hex("10000040 4C54 FEFF"), bytes[(12 + 65_536)..][..8]);
        Assert.Equal(2, ElementReader.Read((ReadOnlyMemory<byte>)bytes, TransferSyntax.ExplicitLittleEndian).Count);
    }

    [Fact]
    public void Group_lengths_are_left_out_but_for_commands()
    {
        var dataSet = new DataSet();
        dataSet.SetInt(Tags.CommandGroupLength, 4);
        dataSet.Put(Element.FromBytes(new Tag(0x0008, 0), Vr.UL, new byte[4]));
        Assert.Equal(Hex("00000000 04000000 04000000"), ElementWriter.ToBytes(dataSet, TransferSyntax.ImplicitLittleEndian));
    }

    [Fact]
    public void Odd_fragments_are_padded_and_pixels_of_files_stay_there()
    {
        string path = Path.GetTempFileName();
        try
        {
            File.WriteAllBytes(path, Hex("00 FFD8FFD9AA"));
            var dataSet = new DataSet();
            dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromFile(path, 1, 5)])));
            dataSet.Put(Element.FromBytes(Tags.DataSetTrailingPadding, Vr.OB, new byte[2]));

            PixelSource encoded = ElementWriter.Encode(dataSet, TransferSyntax.JpegBaseline);

            // Empty offset table; one fragment of 5 bytes padded with 00 to 6; (FFFE,E0DD); then (FFFC,FFFC).
            Assert.Equal(
                Hex("E07F1000 4F42 0000 FFFFFFFF FEFF00E0 00000000 FEFF00E0 06000000 FFD8FFD9AA 00 FEFFDDE0 00000000 FCFFFCFF 4F42 0000 02000000 0000"),
                ElementReaderTests.Bytes(encoded));
            Assert.Equal([null, path, null], encoded.Pieces.Select(piece => piece.Path));
        }
        finally
        {
            File.Delete(path);
        }
    }

    [Fact]
    public void Native_pixels_and_an_icon_in_an_item_are_written_around_their_sources()
    {
        var icon = new DataSet();
        icon.Put(Element.FromPixels(Tags.PixelData, Vr.OB, PixelSource.FromBytes(new byte[] { 1, 2, 3 })));
        var dataSet = new DataSet();
        dataSet.Put(Element.FromItems(new Tag(0x0088, 0x0200), icon));
        dataSet.Put(Element.FromPixels(Tags.PixelData, Vr.OW, PixelSource.FromBytes(new byte[] { 4, 5 })));

        // Icon Image Sequence 24 = 8 + 16 bytes, its item 16 = 12 + 4.
        Assert.Equal(
            Hex("88000002 5351 0000 18000000 FEFF00E0 10000000 E07F1000 4F42 0000 04000000 01020300 E07F1000 4F57 0000 02000000 0405"),
            ElementWriter.ToBytes(dataSet, TransferSyntax.ExplicitLittleEndian));
    }

    [Fact]
    public void Pixels_that_do_not_fit_the_syntax_are_refused_and_never_dropped()
    {
        var encapsulated = new DataSet();
        encapsulated.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [])));
        var native = new DataSet();
        native.Put(Element.FromPixels(Tags.PixelData, Vr.OW, PixelSource.Empty));

        Assert.Throws<ArgumentException>(() => ElementWriter.Encode(encapsulated, TransferSyntax.ExplicitLittleEndian));
        Assert.Throws<ArgumentException>(() => ElementWriter.Encode(native, TransferSyntax.JpegBaseline));
        Assert.Throws<ArgumentException>(() => ElementWriter.Encode(native, TransferSyntax.ExplicitBigEndian));
    }

    [Fact]
    public void A_file_has_preamble_prefix_and_file_meta_information()
    {
        // PS3.10 section 7.1: 128 zeros, "DICM", (0002,0000) UL = bytes that follow it in group 2, (0002,0001) OB 00 01, the UIDs.
        var meta = new FileMeta("1.2.3", "1.2.4", "1.2.840.10008.1.2.1") { ImplementationClassUID = "1.2", ImplementationVersionName = "V", SourceApplicationEntityTitle = "CAM" };

        byte[] file = ElementReaderTests.Bytes(Part10File.Encode(meta, PixelSource.FromBytes(Hex("08006000 4353 0200 5843"))));

        Assert.All(file[..128], value => Assert.Equal(0, value));
        Assert.Equal(
            Hex("""
                4449434D
                02000000 554C 0400 68000000
                02000100 4F42 0000 02000000 0001
                02000200 5549 0600 312E322E3300
                02000300 5549 0600 312E322E3400
                02001000 5549 1400 312E322E3834302E31303030382E312E322E3100
                02001200 5549 0400 312E3200
                02001300 5348 0200 5620
                02001600 4145 0400 43414D20
                08006000 4353 0200 5843
                """),
            file[128..]);
        Part10File read = Part10File.Read(file);
        Assert.Empty(read.Findings);
        Assert.Equal(meta, read.Meta);
        Assert.Equal("XC", read.DataSet.GetString(Tags.Modality));
    }

    [Fact]
    public void The_own_implementation_identity_is_valid()
    {
        Assert.True(Uids.IsValid(FileMeta.OwnImplementationClassUID));
        Assert.InRange(FileMeta.OwnImplementationVersionName.Length, 1, 16);
    }
}
