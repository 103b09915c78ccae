using System.Globalization;

namespace CameraBridge.Dicom.Iods;

/// <summary>Reads *.mod tables: modules and the macros that they share. Macros are put in where they are named.</summary>
internal sealed class ModuleReader
{
    private readonly Dictionary<string, (string Section, bool IsRepeated, List<TableLine> Lines)> modules = [];
    private readonly Dictionary<string, List<TableLine>> macros = [];
    private readonly Dictionary<string, ModuleTable> made = [];

    public void Add(IEnumerable<TableLine> lines)
    {
        List<TableLine>? current = null;
        foreach (TableLine line in lines)
        {
            switch (line.Columns)
            {
                case ["module", var name, var section, .. var group]:
                    current = [];
                    modules.Add(name, (section, group is ["60xx"], current));
                    break;
                case ["macro", var name, _]:
                    current = [];
                    macros.Add(name, current);
                    break;
                default:
                    (current ?? throw line.Fault("stands before a module or macro")).Add(line);
                    break;
            }
        }
    }

    public ModuleTable Find(string name, TableLine asker)
    {
        if (made.TryGetValue(name, out ModuleTable? module))
        {
            return module;
        }

        if (!modules.TryGetValue(name, out (string Section, bool IsRepeated, List<TableLine> Lines) table))
        {
            throw asker.Fault("names a module that no table has");
        }

        int next = 0;
        module = new ModuleTable(name, table.Section, table.IsRepeated, Rows(Expand(table.Lines, ""), ref next, 0));
        made.Add(name, module);
        return module;
    }

    private List<TableLine> Expand(List<TableLine> lines, string nesting)
    {
        var expanded = new List<TableLine>(lines.Count);
        foreach (TableLine line in lines)
        {
            string keyword = line.Columns[0].TrimStart('>');
            string deeper = nesting + line.Columns[0][..^keyword.Length];
            if (keyword == "include")
            {
                expanded.AddRange(Expand(
                    macros.TryGetValue(line.Columns[1], out List<TableLine>? macro) ? macro : throw line.Fault("names a macro that no table has"),
                    deeper));
            }
            else
            {
                expanded.Add(line with { Columns = [deeper + keyword, .. line.Columns[1..]] });
            }
        }

        return expanded;
    }

    /// <summary>The rows at this depth from <paramref name="next"/> on, each with the deeper ones behind it.</summary>
    private static RowSet Rows(List<TableLine> lines, ref int next, int depth)
    {
        var rows = new List<AttributeRow>();
        while (next < lines.Count)
        {
            TableLine line = lines[next];
            string keyword = line.Columns[0].TrimStart('>');
            int nesting = line.Columns[0].Length - keyword.Length;
            if (nesting < depth)
            {
                break;
            }

            if (nesting > depth)
            {
                throw line.Fault("is nested deeper than the sequence before it");
            }

            next++;
            rows.Add(Row(line, keyword, Rows(lines, ref next, depth + 1)));
        }

        return rows.Count == 0 ? RowSet.Empty : new RowSet(rows);
    }

    private static AttributeRow Row(TableLine line, string keyword, RowSet children)
    {
        string type = line.Columns.Length > 1 ? line.Columns[1] : "";
        if (type is not ("1" or "1C" or "2" or "2C" or "3"))
        {
            throw line.Fault("has no type");
        }

        string condition = line.Columns.Length > 2 ? line.Columns[2] : "-";
        if (type.Length == 2 == (condition == "-"))
        {
            throw line.Fault("has a condition without need, or needs one");
        }

        const string itemsMark = "items ", codesMark = "cid ", openMark = "open: ";
        ItemCount? items = null;
        CodeConstraint? codes = null;
        string? open = null;
        var constraints = new List<ValueConstraint>();
        foreach (string part in line.Columns.Length > 3 ? line.Columns[3].Split("; ") : [])
        {
            if (part.StartsWith(itemsMark, StringComparison.Ordinal))
            {
                items = Items(part[itemsMark.Length..]);
            }
            else if (part.StartsWith(codesMark, StringComparison.Ordinal))
            {
                codes = CodeConstraint.Parse(part[codesMark.Length..], line);
            }
            else if (part.StartsWith(openMark, StringComparison.Ordinal))
            {
                open = part[openMark.Length..];
            }
            else
            {
                constraints.Add(ValueConstraint.Parse(part, line));
            }
        }

        return new AttributeRow(
            TableLine.TagOf(keyword, line), keyword, type[0], condition == "-" ? null : Condition.Parse(condition, line), constraints, items, codes, open, children);
    }

    /// <summary>"1", "0-1", "1-n".</summary>
    private static ItemCount Items(string text)
    {
        string[] bounds = text.Split('-');
        int least = int.Parse(bounds[0], CultureInfo.InvariantCulture);
        return new ItemCount(least, bounds.Length == 1 ? least : bounds[1] == "n" ? int.MaxValue : int.Parse(bounds[1], CultureInfo.InvariantCulture));
    }
}
