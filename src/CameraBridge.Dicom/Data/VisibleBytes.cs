using System.Globalization;
using System.Text;

namespace CameraBridge.Dicom.Data;

/// <summary>Makes an encoding of the framework show each byte that it cannot read as ‹E9›, and tell that it did.</summary>
internal sealed class VisibleBytes : DecoderFallback
{
    // Noncharacters, which no text may hold, so that a guillemet in the text itself is not taken for a flaw.
    private const char Open = '\uFDD0';
    private const char Close = '\uFDD1';

    private VisibleBytes()
    {
    }

    /// <summary>UTF-8.</summary>
    public static Encoding Utf8 { get; } = Encoding.GetEncoding("utf-8", EncoderFallback.ExceptionFallback, new VisibleBytes());

    /// <summary>GB 18030, and GBK, of which it is a superset (PS3.5 Annex J); the code page of GBK alone makes private-use characters of bad bytes.</summary>
    public static Encoding Gb18030 { get; } = CodedSet.CodePage(54936, new VisibleBytes());

    /// <inheritdoc />
    public override int MaxCharCount => 16;

    /// <summary>Reads bytes of one encoding.</summary>
    /// <param name="bytes">The bytes.</param>
    /// <param name="encoding">One of this class.</param>
    /// <param name="name">What messages call it.</param>
    /// <param name="flaw">What was wrong, or null.</param>
    public static string Decode(ReadOnlySpan<byte> bytes, Encoding encoding, string name, out string? flaw)
    {
        string text = encoding.GetString(bytes);
        flaw = text.Contains(Open, StringComparison.Ordinal) ? $"holds bytes that are no {name}"
            : text.Contains('\u001B', StringComparison.Ordinal) ? $"holds escape sequences, which {name} has not"
            : null;
        return flaw is null ? text : text.Replace(Open, '‹').Replace(Close, '›');
    }

    /// <inheritdoc />
    public override DecoderFallbackBuffer CreateFallbackBuffer() => new Buffer();

    private sealed class Buffer : DecoderFallbackBuffer
    {
        private string text = "";
        private int at;

        public override int Remaining => text.Length - at;

        public override bool Fallback(byte[] bytesUnknown, int index)
        {
            text = string.Concat(bytesUnknown.Select(one => string.Create(CultureInfo.InvariantCulture, $"{Open}{one:X2}{Close}")));
            at = 0;
            return text.Length > 0;
        }

        public override char GetNextChar() => at < text.Length ? text[at++] : '\0';

        public override bool MovePrevious()
        {
            if (at == 0)
            {
                return false;
            }

            at--;
            return true;
        }

        public override void Reset() => (text, at) = ("", 0);
    }
}
