using System.Buffers.Binary;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>What a decoder keeps of the segments before a scan (ITU-T T.81 section B.2.4): tables, by their numbers, and the restart interval.</summary>
internal sealed class JpegTables
{
    /// <summary>Huffman tables of DC differences.</summary>
    public JpegDecodingTable?[] Dc { get; } = new JpegDecodingTable?[4];

    /// <summary>Huffman tables of AC coefficients.</summary>
    public JpegDecodingTable?[] Ac { get; } = new JpegDecodingTable?[4];

    /// <summary>Quantization steps in zigzag order.</summary>
    public ushort[]?[] Quantization { get; } = new ushort[4][];

    /// <summary>MCUs between restart markers; 0 for none.</summary>
    public int RestartInterval { get; private set; }

    /// <summary>Takes a segment; those of other markers say nothing here.</summary>
    /// <param name="marker">Second byte of its marker.</param>
    /// <param name="body">What stands behind its length.</param>
    /// <returns>Null, or a sentence that tells why it cannot be what it says.</returns>
    public string? Read(byte marker, ReadOnlySpan<byte> body) => marker switch
    {
        0xC4 => ReadHuffman(body),
        0xDB => ReadQuantization(body),
        0xDD => ReadRestartInterval(body),
        _ => null,
    };

    private string? ReadHuffman(ReadOnlySpan<byte> body) => JpegHuffmanSegment.Read(body, (isDc, number, counts, symbols) =>
        ((isDc ? Dc : Ac)[number] = JpegDecodingTable.Create(counts, symbols)) is not null)
        ? null
        : "A Huffman table cannot be what it says.";

    private string? ReadQuantization(ReadOnlySpan<byte> body)
    {
        while (body.Length > 0)
        {
            int bytes = body[0] >> 4 == 0 ? 1 : 2;
            if (body[0] >> 4 > 1 || (body[0] & 15) > 3 || body.Length < 1 + (64 * bytes))
            {
                return "A quantization table cannot be what it says.";
            }

            ushort[] steps = new ushort[64];
            for (int k = 0; k < 64; k++)
            {
                steps[k] = bytes == 1 ? body[1 + k] : BinaryPrimitives.ReadUInt16BigEndian(body[(1 + (2 * k))..]);
            }

            Quantization[body[0] & 15] = steps;
            body = body[(1 + (64 * bytes))..];
        }

        return null;
    }

    private string? ReadRestartInterval(ReadOnlySpan<byte> body)
    {
        if (body.Length < 2)
        {
            return "The restart interval is missing from its segment.";
        }

        RestartInterval = BinaryPrimitives.ReadUInt16BigEndian(body);
        return null;
    }
}
