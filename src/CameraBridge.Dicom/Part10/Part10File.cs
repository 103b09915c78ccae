using System.Buffers.Binary;
using CameraBridge.Dicom.Data;
using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Dicom.Part10;

/// <summary>A DICOM file (PS3.10 section 7, edition 2025e): preamble, file meta information, data set. Pixels stay in the file.</summary>
public sealed class Part10File
{
    private const int PreambleLength = 128;
    private static readonly byte[] Prefix = "DICM"u8.ToArray();

    private Part10File(FileMeta meta, DataSet metaElements, TransferSyntax syntax, DataSet dataSet, PixelSource encodedDataSet, IReadOnlyList<ReadFinding> findings)
    {
        Meta = meta;
        MetaElements = metaElements;
        TransferSyntax = syntax;
        DataSet = dataSet;
        EncodedDataSet = encodedDataSet;
        Findings = findings;
    }

    /// <summary>The file meta information; its texts are empty where the file has none.</summary>
    public FileMeta Meta { get; }

    /// <summary>The file meta information element by element, as it stands in the file.</summary>
    public DataSet MetaElements { get; }

    /// <summary>How the data set is encoded: as the file says, or, where it does not say, as the bytes look.</summary>
    public TransferSyntax TransferSyntax { get; }

    /// <summary>The data set. Pixel data is a source on the file (in memory only for deflated and big endian ones), so the file must stay.</summary>
    public DataSet DataSet { get; }

    /// <summary>The data set as it is encoded in the file: what to send when nothing is to change.</summary>
    public PixelSource EncodedDataSet { get; }

    /// <summary>What was forgiven: a missing preamble or file meta information, odd lengths and the like.</summary>
    public IReadOnlyList<ReadFinding> Findings { get; }

    /// <summary>Reads a file. Off the calling thread, since header and values are read by blocking calls.</summary>
    /// <exception cref="MalformedException">The file is no DICOM file, or not within the limits.</exception>
    /// <exception cref="IOException">The file cannot be opened or read.</exception>
    public static Task<Part10File> OpenAsync(string path, ReadLimits? limits = null, CancellationToken cancellationToken = default) =>
        Task.Run(() => Open(path, limits), cancellationToken);

    /// <summary>Reads a file on the calling thread.</summary>
    /// <exception cref="MalformedException">The file is no DICOM file, or not within the limits.</exception>
    /// <exception cref="IOException">The file cannot be opened or read.</exception>
    public static Part10File Open(string path, ReadLimits? limits = null)
    {
        ArgumentException.ThrowIfNullOrEmpty(path);
        limits ??= ReadLimits.Default;
        using SafeFileHandle file = File.OpenHandle(path, FileMode.Open, FileAccess.Read, FileShare.Read);
        var source = new FileByteSource(file, Path.GetFullPath(path), RandomAccess.GetLength(file));
        return Read(source, limits);
    }

    /// <summary>Reads a whole file that is in memory.</summary>
    /// <exception cref="MalformedException">It is no DICOM file, or not within the limits.</exception>
    public static Part10File Read(ReadOnlyMemory<byte> file, ReadLimits? limits = null) =>
        Read(new MemoryByteSource(file), limits ?? ReadLimits.Default);

    /// <summary>The bytes of a file: preamble of zeros, prefix, file meta information, and the data set as it is given.</summary>
    public static PixelSource Encode(FileMeta meta, PixelSource dataSet)
    {
        ArgumentNullException.ThrowIfNull(meta);
        ArgumentNullException.ThrowIfNull(dataSet);
        PixelSource group2 = ElementWriter.Encode(meta.ToDataSet(), TransferSyntax.ExplicitLittleEndian);
        byte[] head = new byte[PreambleLength + Prefix.Length];
        Prefix.CopyTo(head, PreambleLength);
        return PixelSource.Concat(PixelSource.FromBytes(head), group2, dataSet);
    }

    private static Part10File Read(ByteSource source, ReadLimits limits)
    {
        var findings = new List<ReadFinding>();
        long start = 0;
        bool hasPrefix = source.Length >= PreambleLength + Prefix.Length && source.Peek(PreambleLength, Prefix.Length).SequenceEqual(Prefix);
        if (hasPrefix)
        {
            start = PreambleLength + Prefix.Length;
        }
        else
        {
            findings.Add(new ReadFinding(0, "", "the file has no preamble and DICM prefix (PS3.10 7.1)"));
        }

        (DataSet metaElements, long dataSetStart) = ReadMeta(source, start, limits, findings);
        FileMeta meta = FileMeta.FromDataSet(metaElements);
        TransferSyntax syntax = SyntaxOf(meta, source, dataSetStart, findings);
        PixelSource encoded = source.Range(dataSetStart, source.Length - dataSetStart);
        ByteSource dataSetSource = source;
        if (syntax.IsDeflated)
        {
            using Stream deflated = encoded.OpenRead();
            dataSetSource = new MemoryByteSource(ElementReader.Inflate(deflated, limits));
            dataSetStart = 0;
        }

        DataSet dataSet = new DataSetParser(dataSetSource, syntax, limits, findings).ReadAll(dataSetStart);
        return new Part10File(meta, metaElements, syntax, dataSet, encoded, findings);
    }

    private static (DataSet Elements, long End) ReadMeta(ByteSource source, long start, ReadLimits limits, List<ReadFinding> findings)
    {
        if (source.Length - start < 8 || BinaryPrimitives.ReadUInt16LittleEndian(source.Peek(start, 2)) != 0x0002)
        {
            findings.Add(new ReadFinding(start, "", "the file has no file meta information (PS3.10 7.1)"));
            return (new DataSet(), start);
        }

        // The group length tells the end; a wrong one is found by the parser, and then the group numbers must do.
        const int GroupLengthElement = 12;
        ReadOnlySpan<byte> head = source.Peek(start, (int)Math.Min(GroupLengthElement, source.Length - start));
        long end = head.Length == GroupLengthElement && head[2..8].SequenceEqual("\0\0UL\x04\0"u8)
            ? start + GroupLengthElement + BinaryPrimitives.ReadUInt32LittleEndian(head[8..])
            : -1;
        var parser = new DataSetParser(source, TransferSyntax.ExplicitLittleEndian, limits, findings);
        DataSet? elements = end > 0 && end <= source.Length ? TryReadGroup(parser, start, end) : null;
        if (elements is null)
        {
            findings.Add(new ReadFinding(start, "(0002,0000)", "the group length does not tell where the file meta information ends (PS3.10 7.1)"));
            elements = parser.ReadGroup(start, source.Length, 0x0002);
        }

        return (elements, parser.Position);
    }

    /// <summary>Null when the elements do not end where the group length says.</summary>
    private static DataSet? TryReadGroup(DataSetParser parser, long start, long end)
    {
        try
        {
            DataSet elements = parser.ReadGroup(start, end, 0x0002);
            return parser.Position == end ? elements : null;
        }
        catch (MalformedException)
        {
            return null;
        }
    }

    private static TransferSyntax SyntaxOf(FileMeta meta, ByteSource source, long dataSetStart, List<ReadFinding> findings)
    {
        if (meta.TransferSyntaxUID.Length == 0)
        {
            return GuessSyntax(source, dataSetStart);
        }

        if (TransferSyntax.Find(meta.TransferSyntaxUID) is { } known)
        {
            return known;
        }

        // Every syntax but the four native ones is explicit little endian with pixels in fragments (PS3.5 A.4), private ones too as a rule.
        findings.Add(new ReadFinding(dataSetStart, "(0002,0010)", "a transfer syntax that edition 2025e does not have; read as explicit little endian"));
        return new TransferSyntax(meta.TransferSyntaxUID, IsExplicit: true, IsBigEndian: false, IsDeflated: false, IsEncapsulated: true);
    }

    /// <summary>Without file meta information a data set begins with group 0008, in one byte order or the other, with letters or without.</summary>
    private static TransferSyntax GuessSyntax(ByteSource source, long start)
    {
        const ushort FirstGroup = 0x0008;
        if (source.Length - start >= 8)
        {
            ReadOnlySpan<byte> bytes = source.Peek(start, 8);
            bool isExplicit = ((Vr)((bytes[4] << 8) | bytes[5])).IsKnown();
            if (BinaryPrimitives.ReadUInt16LittleEndian(bytes) == FirstGroup)
            {
                return isExplicit ? TransferSyntax.ExplicitLittleEndian : TransferSyntax.ImplicitLittleEndian;
            }

            if (BinaryPrimitives.ReadUInt16BigEndian(bytes) == FirstGroup && isExplicit)
            {
                return TransferSyntax.ExplicitBigEndian;
            }
        }

        throw new MalformedException(start, "", "this is no DICOM file: no prefix DICM, and no data set that begins with group 0008 (PS3.10 7.1)");
    }
}
