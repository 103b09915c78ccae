using System.Globalization;
using System.Text;

namespace CameraBridge.Pipeline.Captures;

/// <summary>
/// Paths as text. On Linux a name is any bytes but '/' and 0: an old stick may hold a folder in Latin-1, and a name may hold a line break. A place is
/// that path as one line of readable text from which the bytes come back exactly: what is no UTF-8, and every control character, is written
/// <c>\xHH</c> byte by byte, and a backslash before an 'x' is written <c>\x5C</c>.
/// </summary>
internal static class Places
{
    private const byte Backslash = (byte)'\\';

    /// <summary>The text of a path's bytes.</summary>
    public static string FromBytes(ReadOnlySpan<byte> path)
    {
        if (IsPlain(path))
        {
            return Encoding.ASCII.GetString(path);
        }

        var place = new StringBuilder(path.Length + 16);
        while (!path.IsEmpty)
        {
            bool valid = Rune.DecodeFromUtf8(path, out Rune rune, out int length) == System.Buffers.OperationStatus.Done;
            bool escape = !valid || IsControl(rune) || (rune.Value == Backslash && path.Length > 1 && path[1] == (byte)'x');
            if (escape)
            {
                foreach (byte one in path[..length])
                {
                    place.Append(CultureInfo.InvariantCulture, $"\\x{one:X2}");
                }
            }
            else
            {
                place.Append(rune.ToString());
            }

            path = path[length..];
        }

        return place.ToString();
    }

    /// <summary>The place form of a path that is text: only control characters and some backslashes change.</summary>
    public static string FromText(string path) => FromBytes(Encoding.UTF8.GetBytes(path));

    /// <summary>The bytes of a place below a root, both in place form, with a 0 at the end as the system wants it.</summary>
    public static byte[] ToPath(string root, string place)
    {
        var path = new MemoryStream(root.Length + place.Length + 8);
        WriteBytes(root, path);
        if (place.Length > 0)
        {
            path.WriteByte((byte)'/');
            WriteBytes(place, path);
        }

        path.WriteByte(0);
        return path.ToArray();
    }

    /// <summary>A place as the framework takes a path: the same file only where its name is valid text.</summary>
    public static string ToText(string place) => Encoding.UTF8.GetString(ToPath(place, "").AsSpan()[..^1]);

    /// <summary>A place without the last name; "" at the top.</summary>
    public static string FolderOf(string place) => place.LastIndexOf('/') is int slash and >= 0 ? place[..slash] : "";

    /// <summary>One place below another; either may be "".</summary>
    public static string Join(string folder, string place) =>
        folder.Length == 0 ? place : place.Length == 0 ? folder : $"{folder}/{place}";

    /// <summary>Printable ASCII without a backslash, of which bytes and text are the same.</summary>
    public static bool IsPlain(ReadOnlySpan<byte> path) =>
        !path.ContainsAnyExceptInRange((byte)0x20, (byte)0x7E) && !path.Contains(Backslash);

    private static void WriteBytes(string place, MemoryStream path)
    {
        Span<byte> utf8 = stackalloc byte[4];
        for (int at = 0; at < place.Length;)
        {
            if (place[at] == '\\' && at + 3 < place.Length && place[at + 1] == 'x'
                && byte.TryParse(place.AsSpan(at + 2, 2), NumberStyles.AllowHexSpecifier, CultureInfo.InvariantCulture, out byte one))
            {
                path.WriteByte(one);
                at += 4;
                continue;
            }

            _ = Rune.DecodeFromUtf16(place.AsSpan(at), out Rune rune, out int length);
            path.Write(utf8[..rune.EncodeToUtf8(utf8)]);
            at += length;
        }
    }

    private static bool IsControl(Rune rune) => Rune.IsControl(rune) || rune.Value is 0x2028 or 0x2029;
}
