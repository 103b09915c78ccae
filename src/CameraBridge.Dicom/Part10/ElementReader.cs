using System.Buffers;
using System.IO.Compression;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Part10;

/// <summary>
/// Reads data sets (PS3.5 section 7 and Annex A, edition 2025e): implicit, explicit, big endian, deflated, encapsulated, sequences and items of
/// defined and undefined length. Text is bytes until asked for; character sets are resolved from (0008,0005), and where a peer is known to mean
/// something else, <see cref="DataSet.ResolveCharacterSets"/> may be called again with a fallback. Forgives what can be understood, and says so in findings: odd lengths, tags out of order, unknown representations.
/// </summary>
public static class ElementReader
{
    private const int ChunkBytes = 64 * 1024;

    /// <summary>
    /// Reads a whole data set from memory. The values are slices of <paramref name="bytes"/>, which therefore must not be changed afterwards; pixel
    /// data is a <see cref="PixelSource"/> on them.
    /// </summary>
    /// <param name="bytes">The data set, without file meta information.</param>
    /// <param name="syntax">How it is encoded.</param>
    /// <param name="limits">What it may cost; the default when null.</param>
    /// <param name="findings">Takes what was forgiven, a hundred at most.</param>
    /// <exception cref="MalformedException">The bytes cannot be read, or not within the limits.</exception>
    public static DataSet Read(
        ReadOnlyMemory<byte> bytes, TransferSyntax syntax, ReadLimits? limits = null, ICollection<ReadFinding>? findings = null)
    {
        ArgumentNullException.ThrowIfNull(syntax);
        limits ??= ReadLimits.Default;
        if (syntax.IsDeflated)
        {
            bytes = Inflate(new MemoryStream(bytes.ToArray(), writable: false), limits);
        }

        return new DataSetParser(new MemoryByteSource(bytes), syntax, limits, findings).ReadAll(0);
    }

    /// <summary>Reads a whole data set from memory that the caller goes on using: copied first.</summary>
    /// <exception cref="MalformedException">The bytes cannot be read, or not within the limits.</exception>
    public static DataSet Read(
        ReadOnlySpan<byte> bytes, TransferSyntax syntax, ReadLimits? limits = null, ICollection<ReadFinding>? findings = null) =>
        Read((ReadOnlyMemory<byte>)bytes.ToArray(), syntax, limits, findings);

    /// <summary>Reads a whole data set from where its bytes are. Pixel data is a range of them, so the files must stay.</summary>
    /// <exception cref="ArgumentException">The syntax is deflated, which has to be inflated as a whole.</exception>
    /// <exception cref="MalformedException">The bytes cannot be read, or not within the limits.</exception>
    /// <exception cref="IOException">A file is gone, or shorter than the range says.</exception>
    public static DataSet Read(PixelSource encoded, TransferSyntax syntax, ReadLimits? limits = null, ICollection<ReadFinding>? findings = null)
    {
        ArgumentNullException.ThrowIfNull(encoded);
        ArgumentNullException.ThrowIfNull(syntax);
        return syntax.IsDeflated
            ? throw new ArgumentException("A deflated data set is read from memory or from a file.", nameof(syntax))
            : new DataSetParser(new PieceByteSource(encoded), syntax, limits ?? ReadLimits.Default, findings).ReadAll(0);
    }

    /// <summary>
    /// Reads a whole data set from a stream up to its end, into memory, never more than <see cref="ReadLimits.MaxStreamBytes"/>. Files are better
    /// read by <see cref="Part10File"/>, which leaves the pixels where they are.
    /// </summary>
    /// <exception cref="MalformedException">The bytes cannot be read, or not within the limits.</exception>
    public static async Task<DataSet> ReadAsync(
        Stream stream, TransferSyntax syntax, ReadLimits? limits = null, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(stream);
        limits ??= ReadLimits.Default;
        var writer = new ArrayBufferWriter<byte>(4096);
        while (true)
        {
            int read = await stream.ReadAsync(writer.GetMemory(4096), cancellationToken).ConfigureAwait(false);
            if (read == 0)
            {
                return Read(writer.WrittenMemory, syntax, limits);
            }

            writer.Advance(read);
            if (writer.WrittenCount > limits.MaxStreamBytes)
            {
                throw Exceeded(writer.WrittenCount, nameof(ReadLimits.MaxStreamBytes), limits.MaxStreamBytes);
            }
        }
    }

    /// <summary>Inflates (RFC 1951) into memory, up to the limit.</summary>
    internal static ReadOnlyMemory<byte> Inflate(Stream deflated, ReadLimits limits)
    {
        using var inflater = new DeflateStream(deflated, CompressionMode.Decompress);
        var writer = new ArrayBufferWriter<byte>(ChunkBytes);
        try
        {
            while (inflater.Read(writer.GetSpan(ChunkBytes)) is > 0 and int read)
            {
                writer.Advance(read);
                if (writer.WrittenCount > limits.MaxInflatedBytes)
                {
                    throw Exceeded(writer.WrittenCount, nameof(ReadLimits.MaxInflatedBytes), limits.MaxInflatedBytes);
                }
            }
        }
        catch (InvalidDataException broken)
        {
            throw new MalformedException(writer.WrittenCount, "", "the deflated bytes are broken (PS3.5 A.5, RFC 1951)", broken);
        }

        return writer.WrittenMemory;
    }

    private static MalformedException Exceeded(long position, string limit, long value) =>
        new(position, "", $"the data set is larger than {nameof(ReadLimits)}.{limit} = {value}");
}
