using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using Xunit;
using static CameraBridge.Tests.Dicom.Part10.ElementReaderTests;

namespace CameraBridge.Tests.Dicom.Part10;

/// <summary>
/// Data sets of all syntaxes, damaged by a seeded generator: read, or refused with <see cref="MalformedException"/>, nothing else; what is read can be
/// looked at, written and read again. Memory is bounded by the size of what came in, not by what it claims.
/// </summary>
public sealed class MutationTests
{
    private const int Cases = 30_000;

    /// <summary>Generous: a data set of 2 KB of two-byte items may become a thousand objects.</summary>
    private const long AllocatedPerCase = 2_000_000;

    private static readonly ReadLimits Limits = new() { MaxInflatedBytes = 64 * 1024 };

    [Fact]
    public void Thirty_thousand_damaged_data_sets_do_no_harm()
    {
        (byte[] Bytes, TransferSyntax? Syntax)[] originals = Originals();
        var random = new Random(20261125);
        int read = 0;
        for (int number = 0; number < Cases; number++)
        {
            (byte[] original, TransferSyntax? syntax) = originals[number % originals.Length];
            byte[] bytes = Damage.Do(original, random, Lengths);
            long before = GC.GetAllocatedBytesForCurrentThread();
            try
            {
                if (syntax is null)
                {
                    Part10File.Read(bytes, Limits);
                }
                else
                {
                    ElementReader.Read((ReadOnlyMemory<byte>)bytes, syntax, Limits, []);
                }

                read++;
            }
            catch (MalformedException)
            {
                // What the reader says of bytes that it cannot read.
            }

            long allocated = GC.GetAllocatedBytesForCurrentThread() - before;
            Assert.True(allocated < AllocatedPerCase, $"case {number}: {allocated} bytes for {bytes.Length}");
        }

        // Neither all nor none: the damage is small enough to get past the first header.
        Assert.InRange(read, Cases / 20, Cases * 19 / 20);
    }

    [Fact]
    public void What_is_read_of_damaged_bytes_is_written_and_read_again_the_same()
    {
        (byte[] Bytes, TransferSyntax? Syntax)[] originals = [.. Originals().Where(original => original.Syntax is { IsDeflated: false })];
        var random = new Random(4711);
        for (int number = 0; number < 5_000; number++)
        {
            (byte[] original, TransferSyntax? syntax) = originals[number % originals.Length];
            DataSet dataSet;
            try
            {
                dataSet = ElementReader.Read((ReadOnlyMemory<byte>)Damage.Do(original, random, Lengths), syntax!, Limits);
            }
            catch (MalformedException)
            {
                continue;
            }

            if (dataSet[Tags.PixelData] is { } pixels && pixels.Encapsulated is null == syntax!.IsEncapsulated)
            {
                // The damage made another kind of pixels than the syntax has; the writer refuses it.
                continue;
            }

            TransferSyntax writeSyntax = syntax!.IsEncapsulated ? TransferSyntax.JpegBaseline : TransferSyntax.ExplicitLittleEndian;
            byte[] once = ElementWriter.ToBytes(dataSet, writeSyntax);
            byte[] twice = ElementWriter.ToBytes(ElementReader.Read((ReadOnlyMemory<byte>)once, writeSyntax), writeSyntax);
            Assert.Equal(once, twice);
            DicomJson.Write(dataSet, element => element.Encapsulated is null ? null : "bulk");
        }
    }

    [Fact]
    public void Damaged_json_does_no_harm()
    {
        byte[] original = DicomJson.WriteArray([SampleDataSets.Rich()]);
        var random = new Random(99);
        for (int number = 0; number < 10_000; number++)
        {
            try
            {
                DicomJson.ReadArray(Damage.Do(original, random, Lengths));
            }
            catch (MalformedException)
            {
                // As above.
            }
        }
    }

    /// <summary>Lengths and item tags that a reader must not take on trust (PS3.5 section 7.5), little endian.</summary>
    private static readonly byte[][] Lengths =
        [.. new uint[] { 0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF, 0xE000FFFE, 0xE00DFFFE, 0xE0DDFFFE }.Select(BitConverter.GetBytes)];

    private static (byte[] Bytes, TransferSyntax? Syntax)[] Originals()
    {
        DataSet native = SampleDataSets.Rich();
        DataSet encapsulated = SampleDataSets.Encapsulated(PixelSource.FromBytes(new byte[60]), PixelSource.FromBytes(new byte[31]));
        byte[] implicitBytes = ElementWriter.ToBytes(native, TransferSyntax.ImplicitLittleEndian);
        byte[] explicitBytes = ElementWriter.ToBytes(native, TransferSyntax.ExplicitLittleEndian);
        var meta = new FileMeta("1.2.3", "1.2.4", TransferSyntax.JpegBaseline.Uid);
        byte[] encapsulatedBytes = ElementWriter.ToBytes(encapsulated, TransferSyntax.JpegBaseline);

        // Undefined lengths, which we do not write; and a big endian one, by hand.
        byte[] undefined = SequenceEncodingTests.Hex("""
            09001010 554E 0000 FFFFFFFF FEFF00E0 FFFFFFFF 40000700 02000000 4142 FEFF0DE0 00000000 FEFFDDE0 00000000
            40007502 5351 0000 FFFFFFFF FEFF00E0 FFFFFFFF 40000700 4C4F 0200 4142 FEFF0DE0 00000000 FEFF00E0 0A000000 40000700 4C4F 0200 4142 FEFFDDE0 00000000
            """);
        byte[] bigEndian = SequenceEncodingTests.Hex("""
            00100010 504E 0004 415E4220 00189073 4644 0008 3FF0000000000000 00280010 5553 0002 0102
            00400275 5351 0000 FFFFFFFF FFFEE000 FFFFFFFF 00400007 4C4F 0002 4142 FFFEE00D 00000000 FFFEE0DD 00000000
            7FE00010 4F57 0000 00000004 01020304
            """);
        return
        [
            (implicitBytes, TransferSyntax.ImplicitLittleEndian),
            (explicitBytes, TransferSyntax.ExplicitLittleEndian),
            (encapsulatedBytes, TransferSyntax.JpegBaseline),
            (undefined, TransferSyntax.ExplicitLittleEndian),
            (bigEndian, TransferSyntax.ExplicitBigEndian),
            (Deflated(explicitBytes), TransferSyntax.DeflatedExplicitLittleEndian),
            (Bytes(Part10File.Encode(meta, PixelSource.FromBytes(encapsulatedBytes))), null),
        ];
    }
}
