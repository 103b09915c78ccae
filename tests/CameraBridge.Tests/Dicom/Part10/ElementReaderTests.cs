using System.IO.Compression;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using Xunit;
using static CameraBridge.Tests.Dicom.Part10.SequenceEncodingTests;

namespace CameraBridge.Tests.Dicom.Part10;

/// <summary>PS3.5 section 7 and Annex A, edition 2025e, byte by byte; and what is done with bytes that break them.</summary>
public sealed class ElementReaderTests
{
    [Fact]
    public void Explicit_elements_have_a_short_or_a_long_length()
    {
        // (0008,0060) "CS" length 2 "XC"; (0028,2000) "OB" reserved length 4; PS3.5 Tables 7.1-1 and 7.1-2.
        DataSet dataSet = ElementReader.Read(Hex("08006000 4353 0200 5843  28000020 4F42 0000 04000000 01020304"), TransferSyntax.ExplicitLittleEndian);

        Assert.Equal("XC", dataSet.GetString(Tags.Modality));
        Assert.Equal(Hex("01020304"), dataSet[Tags.ICCProfile]!.Value.ToArray());
    }

    [Fact]
    public void Implicit_elements_take_their_representation_from_the_dictionary_and_from_pixel_representation()
    {
        // (0028,0103) US 1; (0028,0106) length 2, FFFE: -2 when signed.
        DataSet dataSet = ElementReader.Read(Hex("28000301 02000000 0100  28000601 02000000 FEFF"), TransferSyntax.ImplicitLittleEndian);

        Assert.Equal(Vr.SS, dataSet[Tags.SmallestImagePixelValue]!.Vr);
        Assert.Equal(-2, dataSet.GetInt32(Tags.SmallestImagePixelValue));
    }

    [Fact]
    public void Big_endian_values_are_turned_by_their_unit()
    {
        // PS3.5 Annex A.3 (retired): (0028,0010) US 0x0102; (0028,0009) AT (0018,1063); (0018,9073) FD 1.0 = 3FF0 0000 0000 0000; PN stays.
        DataSet dataSet = ElementReader.Read(
            Hex("""
                00100010 504E 0004 415E4220
                00189073 4644 0008 3FF0000000000000
                00280009 4154 0004 00181063
                00280010 5553 0002 0102
                00400275 5351 0000 00000012 FFFEE000 0000000A 00400007 4C4F 0002 4142
                7FE00010 4F57 0000 00000004 01020304
                """),
            TransferSyntax.ExplicitBigEndian);

        Assert.Equal("A^B", dataSet.GetString(Tags.PatientName));
        Assert.Equal(1.0, dataSet.GetDouble(new Tag(0x0018, 0x9073)));
        Assert.Equal([new Tag(0x0018, 0x1063)], dataSet.GetTags(Tags.FrameIncrementPointer));
        Assert.Equal(0x0102, dataSet.GetInt32(Tags.Rows));
        Assert.Equal("AB", dataSet.GetItem(Tags.RequestAttributesSequence)!.GetString(Tags.ScheduledProcedureStepDescription));
        Assert.Equal(Hex("02010403"), Bytes(dataSet[Tags.PixelData]!.Pixels!));
    }

    [Fact]
    public void Deflated_data_sets_are_inflated()
    {
        // PS3.5 section A.5: RFC 1951 over the explicit little endian encoding.
        byte[] plain = Hex("08006000 4353 0200 5843");
        DataSet dataSet = ElementReader.Read(Deflated(plain), TransferSyntax.DeflatedExplicitLittleEndian);
        Assert.Equal("XC", dataSet.GetString(Tags.Modality));
    }

    [Fact]
    public void A_deflated_bomb_ends_at_the_limit()
    {
        byte[] bomb = Deflated(new byte[50_000_000]);
        var limits = new ReadLimits { MaxInflatedBytes = 1_000_000 };

        MalformedException error = Assert.Throws<MalformedException>(() => ElementReader.Read(bomb, TransferSyntax.DeflatedExplicitLittleEndian, limits));

        Assert.Contains("MaxInflatedBytes = 1000000", error.Rule, StringComparison.Ordinal);
    }

    [Fact]
    public void A_hostile_length_of_four_gigabytes_fails_at_once_and_names_place_path_and_rule()
    {
        // 1 KB: a sequence, an item, and in it (0028,2000) "OB" with length FFFFFFFE.
        byte[] bytes = new byte[1024];
        Hex("40007502 5351 0000 FFFFFFFF FEFF00E0 FFFFFFFF 28000020 4F42 0000 FEFFFFFF").CopyTo(bytes, 0);
        long before = GC.GetAllocatedBytesForCurrentThread();

        MalformedException error = Assert.Throws<MalformedException>(() => ElementReader.Read((ReadOnlyMemory<byte>)bytes, TransferSyntax.ExplicitLittleEndian));

        Assert.InRange(GC.GetAllocatedBytesForCurrentThread() - before, 0, 100_000);
        Assert.Equal(32, error.Position);
        Assert.Equal("(0040,0275)[1].(0028,2000)", error.Path);
        Assert.Contains("a length of 4294967294 where 992 bytes are left (PS3.5 7.1.1)", error.Rule, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("08006000 4353 0200 58", "a length of 2 where 1 bytes are left")] // the value is cut off
    [InlineData("08006000 4353", "fewer than the 8 bytes")] // the header is cut off
    [InlineData("08006000 4F42 0000", "fewer than the 12 bytes")] // a long header is cut off
    [InlineData("08006000 0200 0000 5843", "no value representation")] // implicit where explicit was said
    [InlineData("08006000 5554 0000 FFFFFFFF", "undefined length in an element that is neither")] // UT of undefined length
    [InlineData("40007502 5351 0000 FFFFFFFF FEFF00E0 00000000", "before their delimitation")] // the sequence never ends
    [InlineData("40007502 5351 0000 08000000 FEFFDDE0 00000000", "stands where an item is expected")] // delimitation in a defined length
    [InlineData("40007502 5351 0000 0C000000 FEFF00E0 10000000 08006000", "a length of 16 where 4 bytes")] // the item is longer than its sequence
    [InlineData("FEFF0DE0 00000000", "an item delimitation where no item")]
    [InlineData("FEFF00E0 00000000", "stands where an element is expected")]
    [InlineData("E07F1000 4F42 0000 FFFFFFFF FEFF00E0 FFFFFFFF", "where a fragment is expected")]
    public void What_cannot_be_read_is_said(string hex, string rule)
    {
        MalformedException error = Assert.Throws<MalformedException>(() => ElementReader.Read(Hex(hex), TransferSyntax.ExplicitLittleEndian));
        Assert.Contains(rule, error.Message, StringComparison.Ordinal);
    }

    [Fact]
    public void Nesting_and_numbers_and_sizes_end_at_their_limits()
    {
        string deep = string.Concat(Enumerable.Repeat("40007502 5351 0000 FFFFFFFF FEFF00E0 FFFFFFFF ", 65));
        string many = string.Concat(Enumerable.Repeat("FEFF00E0 00000000 ", 11));
        var limits = new ReadLimits { MaxElements = 10, MaxElementBytes = 3 };

        Assert.Contains("MaxDepth = 64", Error(deep, ReadLimits.Default), StringComparison.Ordinal);
        Assert.Contains("MaxElements = 10", Error("40007502 5351 0000 FFFFFFFF" + many, limits), StringComparison.Ordinal);
        Assert.Contains("MaxElementBytes = 3", Error("08006000 4353 0400 58435843", limits), StringComparison.Ordinal);

        static string Error(string hex, ReadLimits limits) =>
            Assert.Throws<MalformedException>(() => ElementReader.Read(Hex(hex), TransferSyntax.ExplicitLittleEndian, limits)).Rule;
    }

    [Fact]
    public void What_can_be_understood_is_forgiven_and_found()
    {
        // An odd length (PS3.5 7.1.1), an unknown representation "ZZ", a tag out of order, one there twice, zeros at the end.
        var findings = new List<ReadFinding>();
        DataSet dataSet = ElementReader.Read(
            Hex("""
                10002000 4C4F 0300 413137
                10003000 4441 0000
                08006000 4353 0200 5843
                08006000 4353 0200 4553
                10004000 5A5A 0000 02000000 4F20
                0000000000000000000000000000
                """),
            TransferSyntax.ExplicitLittleEndian,
            findings: findings);

        Assert.Equal("A17", dataSet.GetString(Tags.PatientID));
        Assert.Equal("XC", dataSet.GetString(Tags.Modality));
        Assert.Equal(Vr.UN, dataSet[Tags.PatientSex]!.Vr);
        Assert.Equal([Tags.Modality, Tags.PatientID, Tags.PatientBirthDate, Tags.PatientSex], dataSet.Select(element => element.Tag));
        Assert.Equal(4, findings.Count);
    }

    [Fact]
    public void Descending_tags_cost_no_more_than_ascending_ones()
    {
        // 100,000 empty elements from high to low: insertion one by one would move about 40 GB.
        byte[] bytes = new byte[800_000];
        for (int at = 0; at < 100_000; at++)
        {
            uint number = 0x00300000u - (uint)at * 2;
            BitConverter.TryWriteBytes(bytes.AsSpan(at * 8), (ushort)(number >> 16));
            BitConverter.TryWriteBytes(bytes.AsSpan((at * 8) + 2), (ushort)number);
        }

        Assert.Equal(100_000, ElementReader.Read((ReadOnlyMemory<byte>)bytes, TransferSyntax.ImplicitLittleEndian).Count);
    }

    [Fact]
    public async Task A_stream_that_trickles_is_read_up_to_the_limit()
    {
        byte[] bytes = Hex("08006000 4353 0200 5843 10002000 4C4F 0200 4137");
        using var stream = new MemoryStream(bytes);
        DataSet dataSet = await ElementReader.ReadAsync(stream, TransferSyntax.ExplicitLittleEndian, cancellationToken: TestContext.Current.CancellationToken);
        Assert.Equal("A7", dataSet.GetString(Tags.PatientID));

        stream.Position = 0;
        await Assert.ThrowsAsync<MalformedException>(() => ElementReader.ReadAsync(
            stream, TransferSyntax.ExplicitLittleEndian, new ReadLimits { MaxStreamBytes = 10 }, TestContext.Current.CancellationToken));
    }

    [Fact]
    public void Character_sets_are_resolved_down_to_the_items()
    {
        // (0008,0005) "ISO_IR 100"; the name E9 = é in Latin-1, in the data set and in an item.
        DataSet dataSet = ElementReader.Read(
            Hex("08000500 4353 0A00 49534F5F495220313030  10001000 504E 0200 41E9  40007502 5351 0000 12000000 FEFF00E0 0A000000 40000700 4C4F 0200 E942"),
            TransferSyntax.ExplicitLittleEndian);

        Assert.Equal("Aé", dataSet.GetString(Tags.PatientName));
        Assert.Equal("éB", dataSet.GetItem(Tags.RequestAttributesSequence)!.GetString(Tags.ScheduledProcedureStepDescription));
    }

    [Fact]
    public void A_large_file_of_many_fragments_costs_no_memory_for_its_pixels()
    {
        // 2,000 fragments of 100,000 zeros each, in a sparse file of 200 MB; then (FFFE,E0DD) and (FFFC,FFFC).
        const int Fragments = 2_000, FragmentLength = 100_000;
        string path = Path.GetTempFileName();
        try
        {
            using (FileStream file = File.Create(path))
            {
                file.Write(Hex("08001600 5549 0400 312E3200 E07F1000 4F42 0000 FFFFFFFF FEFF00E0 00000000"));
                for (int number = 0; number < Fragments; number++)
                {
                    file.Write(Hex("FEFF00E0 A0860100"));
                    file.Seek(FragmentLength, SeekOrigin.Current);
                }

                file.Write(Hex("FEFFDDE0 00000000 FCFFFCFF 4F42 0000 02000000 0000"));
            }

            long before = GC.GetAllocatedBytesForCurrentThread();
            var read = Part10File.Open(path);

            Assert.InRange(GC.GetAllocatedBytesForCurrentThread() - before, 0, 2_000_000);
            Assert.Equal(Fragments, read.DataSet[Tags.PixelData]!.Encapsulated!.Fragments.Count);
            Assert.True(read.DataSet.Contains(Tags.DataSetTrailingPadding));
        }
        finally
        {
            File.Delete(path);
        }
    }

    internal static byte[] Bytes(PixelSource source)
    {
        using var copy = new MemoryStream();
        using Stream stream = source.OpenRead();
        stream.CopyTo(copy);
        return copy.ToArray();
    }

    internal static byte[] Deflated(byte[] plain)
    {
        using var memory = new MemoryStream();
        using (var deflater = new DeflateStream(memory, CompressionLevel.Fastest))
        {
            deflater.Write(plain);
        }

        return memory.ToArray();
    }
}
