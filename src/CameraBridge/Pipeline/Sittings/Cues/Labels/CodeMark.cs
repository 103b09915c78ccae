using System.Globalization;
using System.Text.RegularExpressions;
using ZXing;
using ZXing.Common;

namespace CameraBridge.Pipeline.Sittings.Cues.Labels;

/// <summary>
/// The symbology identifier (ISO/IEC 15424) in front of the text of a code, as scanners send it: "]" with a letter for the symbology and a
/// digit for how it is to be read. Here it stands where it says more than the text: in front of GS1 element strings, and of the symbologies that are
/// searched only where a pattern asks for them. Other texts stand as they were read.
/// </summary>
internal static partial class CodeMark
{
    /// <summary>FNC1 where it ends an element, as readers give it (GS1 General Specifications, section 7.8).</summary>
    public const char Separator = '\u001D';

    /// <summary>FNC1 is the first character, with or without an extended channel: Code 128, Data Matrix, QR Code, Aztec Code.</summary>
    private static readonly string[] Gs1 = ["]C1", "]d2", "]d5", "]Q3", "]Q4", "]z1", "]z4"];

    /// <summary>The text of what a reader read, with its mark where it has one.</summary>
    public static string TextOf(Result result)
    {
        string mark = result.ResultMetadata?.TryGetValue(ResultMetadataType.SYMBOLOGY_IDENTIFIER, out object? value) == true ? (string)value : "";

        // Value 102 is FNC1: the reader of Code 128 takes such a check character for data, and leaves a separator where nothing follows (ISO/IEC 15417, 4.3; number from memory).
        string text = result.BarcodeFormat == BarcodeFormat.CODE_128 ? result.Text.TrimEnd(Separator) : result.Text;

        // FNC1 in front (FLG(0), ISO/IEC 24778 section 7) leaves only its separator with the reader of Aztec Code.
        if (mark == "]z0" && text.StartsWith(Separator))
        {
            mark = "]z1";
        }

        if (!IsGs1(mark) && result.BarcodeFormat is not (BarcodeFormat.PDF_417 or BarcodeFormat.AZTEC))
        {
            return text;
        }

        // The reader of Code 128 writes the mark itself; that of Data Matrix gives the first FNC1 as a separator, which it is not.
        string rest = text.StartsWith(mark, StringComparison.Ordinal) ? text[mark.Length..] : text;
        return mark + (IsGs1(mark) ? rest.TrimStart(Separator) : rest);
    }

    /// <summary>The same of what a decoder gave for the modules of a code.</summary>
    /// <param name="read">What it gave.</param>
    /// <param name="format">The symbology.</param>
    /// <param name="letter">"]" and the symbology's letter.</param>
    public static string TextOf(DecoderResult read, BarcodeFormat format, string letter)
    {
        var result = new Result(read.Text, read.RawBytes, [], format);
        result.putMetadata(ResultMetadataType.SYMBOLOGY_IDENTIFIER, string.Create(CultureInfo.InvariantCulture, $"{letter}{read.SymbologyModifier}"));
        return TextOf(result);
    }

    /// <summary>Mark and text; the mark is empty where there is none.</summary>
    public static (string Mark, string Text) Split(string text) => Form().IsMatch(text) ? (text[..3], text[3..]) : ("", text);

    public static bool IsGs1(string mark) => Gs1.Contains(mark, StringComparer.Ordinal);

    /// <summary>The symbology that is searched only where asked for; null for the others.</summary>
    public static RareCode? RareOf(string mark) => mark.Length < 2 ? null : mark[1] switch
    {
        'L' => RareCode.Pdf417,
        'z' => RareCode.Aztec,
        _ => null,
    };

    [GeneratedRegex(@"^\](C1|[dQzL][0-9])", RegexOptions.CultureInvariant)]
    private static partial Regex Form();
}

/// <summary>A symbology that is searched only where a pattern asks for it.</summary>
internal enum RareCode
{
    /// <summary>ISO/IEC 15438.</summary>
    Pdf417,

    /// <summary>ISO/IEC 24778.</summary>
    Aztec,
}
