using System.Buffers.Binary;
using System.Globalization;
using System.Text;

namespace CameraBridge.Practice.Sticks;

/// <summary>
/// Makes a JPEG look as if a camera had written it: an Exif segment with make, model and time, and a comment. Exif 2.32 (CIPA DC-008), section 4.5.4
/// for the segment, 4.6 for the tags; JPEG markers ITU-T T.81 Table B.1.
/// </summary>
internal static class CameraFile
{
    private const string Make = "Hollin Vale Workshop";
    private const string Model = "PracticeCam 1";

    /// <param name="jpeg">A JPEG file beginning with SOI.</param>
    /// <param name="takenAt">Written as local time; the offset is written too where <paramref name="withOffset"/>.</param>
    /// <param name="withOffset">Whether the camera knows its zone (OffsetTimeOriginal, Exif 2.31 and later).</param>
    /// <param name="comment">Text of a COM segment; it makes two files of one picture differ.</param>
    public static byte[] Write(ReadOnlySpan<byte> jpeg, DateTimeOffset takenAt, bool withOffset, string comment)
    {
        byte[] exif = Exif(takenAt, withOffset);
        byte[] note = Encoding.ASCII.GetBytes(comment);
        byte[] file = new byte[jpeg.Length + exif.Length + 4 + note.Length + 4];
        jpeg[..2].CopyTo(file);
        Span<byte> rest = file.AsSpan(2);
        rest = Segment(rest, 0xE1, exif);
        rest = Segment(rest, 0xFE, note);
        jpeg[2..].CopyTo(rest);
        return file;
    }

    private static Span<byte> Segment(Span<byte> into, byte marker, ReadOnlySpan<byte> content)
    {
        into[0] = 0xFF;
        into[1] = marker;
        BinaryPrimitives.WriteUInt16BigEndian(into[2..], (ushort)(content.Length + 2));
        content.CopyTo(into[4..]);
        return into[(content.Length + 4)..];
    }

    private static byte[] Exif(DateTimeOffset takenAt, bool withOffset)
    {
        string time = takenAt.ToString("yyyy:MM:dd HH:mm:ss", CultureInfo.InvariantCulture);
        List<(ushort Tag, string Text)> exif =
        [
            (0x9003, time),
            .. withOffset ? [((ushort)0x9011, takenAt.ToString("zzz", CultureInfo.InvariantCulture))] : Array.Empty<(ushort, string)>(),
            (0x9291, takenAt.ToString("fff", CultureInfo.InvariantCulture)),
        ];
        (ushort Tag, string Text)[] image = [(0x010F, Make), (0x0110, Model), (0x0132, time)];

        const int HeaderLength = 8;
        int exifAt = HeaderLength + DirectoryLength(image) + 12;
        byte[] tiff = new byte[exifAt + DirectoryLength(exif)];
        "II*\0"u8.CopyTo(tiff);
        BinaryPrimitives.WriteUInt32LittleEndian(tiff.AsSpan(4), HeaderLength);
        WriteDirectory(tiff, HeaderLength, image, exifAt);
        WriteDirectory(tiff, exifAt, exif, null);
        return [.. "Exif\0\0"u8, .. tiff];
    }

    private static int DirectoryLength(IReadOnlyCollection<(ushort Tag, string Text)> texts) =>
        2 + (texts.Count * 12) + 4 + texts.Sum(text => text.Text.Length + 1 > 4 ? Even(text.Text.Length + 1) : 0);

    /// <summary>One directory of ASCII values in the order of their tags, and where there is one the pointer to the Exif directory (8769H) at the end.</summary>
    private static void WriteDirectory(byte[] tiff, int at, IReadOnlyCollection<(ushort Tag, string Text)> texts, int? exifAt)
    {
        const ushort Ascii = 2;
        const ushort Long = 4;
        int count = texts.Count + (exifAt is null ? 0 : 1);
        int valuesAt = at + 2 + (count * 12) + 4;
        BinaryPrimitives.WriteUInt16LittleEndian(tiff.AsSpan(at), (ushort)count);
        Span<byte> entry = tiff.AsSpan(at + 2);
        foreach ((ushort tag, string text) in texts)
        {
            Entry(entry, tag, Ascii, text.Length + 1);
            if (text.Length + 1 > 4)
            {
                BinaryPrimitives.WriteUInt32LittleEndian(entry[8..], (uint)valuesAt);
                Encoding.ASCII.GetBytes(text, tiff.AsSpan(valuesAt));
                valuesAt += Even(text.Length + 1);
            }
            else
            {
                Encoding.ASCII.GetBytes(text, entry[8..]);
            }

            entry = entry[12..];
        }

        if (exifAt is { } pointer)
        {
            Entry(entry, 0x8769, Long, 1);
            BinaryPrimitives.WriteUInt32LittleEndian(entry[8..], (uint)pointer);
        }
    }

    private static void Entry(Span<byte> entry, ushort tag, ushort type, int count)
    {
        BinaryPrimitives.WriteUInt16LittleEndian(entry, tag);
        BinaryPrimitives.WriteUInt16LittleEndian(entry[2..], type);
        BinaryPrimitives.WriteUInt32LittleEndian(entry[4..], (uint)count);
    }

    private static int Even(int length) => length + (length & 1);
}
