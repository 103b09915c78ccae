using System.Globalization;
using System.Text;

namespace CameraBridge.Commands;

/// <summary>A plain table: columns as wide as their widest cell, two spaces between, a line of dashes below the heads.</summary>
internal static class TextTable
{
    public static void Write(TextWriter writer, IReadOnlyList<string> heads, IEnumerable<IReadOnlyList<string>> rows)
    {
        List<IReadOnlyList<string>> all = [heads, .. rows];
        int[] widths = [.. heads.Select((_, column) => all.Max(row => Width(row[column])))];
        for (int row = 0; row < all.Count; row++)
        {
            WriteRow(writer, all[row], widths);
            if (row == 0)
            {
                WriteRow(writer, [.. widths.Select(width => new string('-', width))], widths);
            }
        }
    }

    private static void WriteRow(TextWriter writer, IReadOnlyList<string> cells, int[] widths)
    {
        StringBuilder line = new();
        for (int column = 0; column < cells.Count; column++)
        {
            line.Append(cells[column]).Append(' ', widths[column] - Width(cells[column]) + 2);
        }

        writer.WriteLine(line.ToString().TrimEnd());
    }

    // Counts what is seen, so that a combining accent does not push the next column.
    private static int Width(string text) => new StringInfo(text).LengthInTextElements;
}
