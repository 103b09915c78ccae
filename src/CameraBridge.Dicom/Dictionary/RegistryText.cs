using System.Text;

namespace CameraBridge.Dicom.Dictionary;

/// <summary>
/// The rows of an embedded registry as they stand in its bytes. Nothing is parsed but the starts of the lines, so that the first look-up of a
/// program that needs twenty attributes does not pay for five thousand.
/// </summary>
internal sealed class RegistryText
{
    private readonly byte[] text;
    private readonly int[] starts;

    private RegistryText(byte[] text)
    {
        this.text = text;
        starts = new int[text.AsSpan().Count((byte)'\n')];
        int start = 0;
        for (int row = 0; row < starts.Length; row++)
        {
            starts[row] = start;
            start += text.AsSpan(start).IndexOf((byte)'\n') + 1;
        }
    }

    /// <summary>Number of rows.</summary>
    public int Count => starts.Length;

    /// <summary>Reads one of the library's own resources.</summary>
    public static RegistryText Load(string name)
    {
        using Stream stream = typeof(RegistryText).Assembly.GetManifestResourceStream($"CameraBridge.Dicom.Dictionary.{name}")
            ?? throw new InvalidOperationException($"The library was built without its registry {name}.");
        byte[] text = new byte[stream.Length];
        stream.ReadExactly(text);
        return new RegistryText(text);
    }

    /// <summary>The row's bytes, without the line feed.</summary>
    public ReadOnlySpan<byte> Row(int row)
    {
        int end = row + 1 < starts.Length ? starts[row + 1] : text.Length;
        return text.AsSpan(starts[row]..(end - 1));
    }

    /// <summary>The row's column, counted from 0.</summary>
    public ReadOnlySpan<byte> Column(int row, int column)
    {
        ReadOnlySpan<byte> rest = Row(row);
        for (; column > 0; column--)
        {
            rest = rest[(rest.IndexOf((byte)'\t') + 1)..];
        }

        int tab = rest.IndexOf((byte)'\t');
        return tab < 0 ? rest : rest[..tab];
    }

    /// <summary>The column as text; a lone hyphen stands for nothing.</summary>
    public string Text(int row, int column)
    {
        ReadOnlySpan<byte> value = Column(row, column);
        return value is [(byte)'-'] ? "" : Encoding.UTF8.GetString(value);
    }
}
