using System.Buffers.Binary;
using System.Globalization;
using System.Text;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Iods;

/// <summary>The values of an element as they are compared with tables: codes and numbers, whatever the data set claims to be.</summary>
internal static class ElementText
{
    /// <summary>The first value, or null when there is none.</summary>
    public static string? First(Element? element) => element is null || element.IsEmpty ? null : Values(element) is [var first, ..] ? first : null;

    /// <summary>Number of values by the rules of the representation (PS3.5 section 6.4).</summary>
    public static int Count(Element element) => element switch
    {
        { IsEmpty: true } => 0,
        { Items: not null } => 1,
        { Vr: Vr.OB or Vr.OD or Vr.OF or Vr.OL or Vr.OV or Vr.OW or Vr.UN } => 1,
        _ when element.Vr.IsSingleText() => 1,
        _ when element.Vr.IsText() => element.Value.Span.Count((byte)'\\') + 1,
        _ => element.Value.Length / NumberSize(element.Vr),
    };

    /// <summary>The values of a code or of a whole number; those of other representations are not told.</summary>
    public static IReadOnlyList<string> Values(Element element)
    {
        ReadOnlySpan<byte> value = element.Value.Span;
        if (element.Vr.IsText())
        {
            string text = Encoding.Latin1.GetString(value).TrimEnd('\0', ' ');
            return element.Vr.IsSingleText() ? [text] : [.. text.Split('\\').Select(one => one.Trim(' '))];
        }

        if (element.Vr is Vr.US or Vr.SS)
        {
            var numbers = new string[value.Length / 2];
            for (int i = 0; i < numbers.Length; i++)
            {
                ushort number = BinaryPrimitives.ReadUInt16LittleEndian(value[(i * 2)..]);
                numbers[i] = (element.Vr == Vr.SS ? (short)number : (int)number).ToString(CultureInfo.InvariantCulture);
            }

            return numbers;
        }

        return [];
    }

    /// <summary>Bytes of one value; an attribute tag has two numbers of two bytes.</summary>
    public static int NumberSize(Vr vr) => vr == Vr.AT ? 4 : vr.UnitSize();
}
