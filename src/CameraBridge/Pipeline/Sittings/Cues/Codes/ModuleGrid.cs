namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>What is known of a module.</summary>
internal enum Module : byte
{
    Unknown,
    Light,
    Dark,
}

/// <summary>The modules of a code, some of them known beforehand: its finder and timing patterns.</summary>
internal sealed class ModuleGrid(int columns, int rows)
{
    private readonly Module[] _modules = new Module[columns * rows];

    public int Columns => columns;

    public int Rows => rows;

    public Module this[int x, int y]
    {
        get => x < 0 || y < 0 || x >= columns || y >= rows ? Module.Light : _modules[(y * columns) + x];
        set => _modules[(y * columns) + x] = value;
    }

    /// <summary>Writes rows of '#', '.' and ' ' (not known) at a place.</summary>
    public void Put(int x, int y, params ReadOnlySpan<string> lines)
    {
        for (int row = 0; row < lines.Length; row++)
        {
            for (int column = 0; column < lines[row].Length; column++)
            {
                if (lines[row][column] != ' ' && x + column >= 0 && x + column < columns && y + row >= 0 && y + row < rows)
                {
                    this[x + column, y + row] = lines[row][column] == '#' ? Module.Dark : Module.Light;
                }
            }
        }
    }

    /// <summary>The share of modules known here that another grid shows the same way.</summary>
    public double Agreement(ModuleGrid other)
    {
        int known = 0;
        int same = 0;
        for (int i = 0; i < _modules.Length; i++)
        {
            if (_modules[i] != Module.Unknown)
            {
                known++;
                same += _modules[i] == other._modules[i] ? 1 : 0;
            }
        }

        return known == 0 ? 0 : same / (double)known;
    }

    public ZXing.Common.BitMatrix ToBits()
    {
        var bits = new ZXing.Common.BitMatrix(columns, rows);
        for (int y = 0; y < rows; y++)
        {
            for (int x = 0; x < columns; x++)
            {
                bits[x, y] = this[x, y] == Module.Dark;
            }
        }

        return bits;
    }
}
