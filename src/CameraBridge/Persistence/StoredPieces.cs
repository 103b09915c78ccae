using System.Text;
using CameraBridge.Pipeline;

namespace CameraBridge.Persistence;

/// <summary>
/// The pieces of an object in one binary column, since their literal bytes are most of what the state holds. A version byte (1), the number of pieces
/// (7-bit encoded), then for each: 0, the length (int64, little-endian) and the bytes; or 1, the spool name (UTF-8, length before), the offset and the
/// length (int64, little-endian).
/// </summary>
internal static class StoredPieces
{
    private const byte Version = 1;
    private const byte Literal = 0;
    private const byte Range = 1;

    public static byte[] Write(IReadOnlyList<StoredPiece> pieces)
    {
        using var bytes = new MemoryStream(64 + pieces.Sum(piece => piece.Bytes?.Length ?? 96));
        using var writer = new BinaryWriter(bytes, Encoding.UTF8);
        writer.Write(Version);
        writer.Write7BitEncodedInt(pieces.Count);
        foreach (StoredPiece piece in pieces)
        {
            if (piece.Bytes is { } literal)
            {
                writer.Write(Literal);
                writer.Write((long)literal.Length);
                writer.Write(literal);
            }
            else
            {
                writer.Write(Range);
                writer.Write(piece.SpoolName!);
                writer.Write(piece.Offset);
                writer.Write(piece.Length);
            }
        }

        writer.Flush();
        return bytes.ToArray();
    }

    /// <exception cref="InvalidDataException">The column was written by something else.</exception>
    public static IReadOnlyList<StoredPiece> Read(byte[] column)
    {
        using var reader = new BinaryReader(new MemoryStream(column, writable: false), Encoding.UTF8);
        try
        {
            if (reader.ReadByte() != Version)
            {
                throw new InvalidDataException("The pieces of an object are stored in a form that this program does not know.");
            }

            var pieces = new List<StoredPiece>();
            for (int left = reader.Read7BitEncodedInt(); left > 0; left--)
            {
                if (reader.ReadByte() == Literal)
                {
                    byte[] bytes = reader.ReadBytes(checked((int)Math.Min(reader.ReadInt64(), column.Length)));
                    pieces.Add(new StoredPiece(bytes, null, 0, bytes.Length));
                }
                else
                {
                    pieces.Add(new StoredPiece(null, reader.ReadString(), reader.ReadInt64(), reader.ReadInt64()));
                }
            }

            return pieces;
        }
        catch (Exception torn) when (torn is EndOfStreamException or FormatException)
        {
            throw new InvalidDataException("The pieces of an object are stored in a form that cannot be read.", torn);
        }
    }
}
