using System.Numerics;
using System.Runtime.CompilerServices;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// Writes coefficients as a baseline picture (ITU-T T.81 Annex F.1.2), turning each block on its way: no second copy of the picture is made. Two passes,
/// one that counts the symbols, and one that writes them with tables made for these counts.
/// </summary>
internal sealed unsafe class JpegBaselineWriter
{
    /// <summary>Blocks in an MCU, at most (section B.2.3); a picture with more has a scan for each component.</summary>
    private const int MostBlocks = 10;

    /// <summary>Bits of a DC difference and of an AC coefficient of 8-bit samples (Tables F.1 and F.2).</summary>
    private const int LargestDc = 11, LargestAc = 10;

    /// <summary>End of block, and sixteen zeros (Table F.2).</summary>
    private const int EndOfBlock = 0x00, SixteenZeros = 0xF0;

    private readonly JpegOrientation orientation;
    private readonly CancellationToken cancellation;
    private readonly int rows;
    private readonly int columns;
    private readonly Part[] parts;
    private readonly byte[] places;
    private readonly short[] signs;
    private readonly long[][] frequencies = [new long[256], new long[256], new long[256], new long[256]];

    public JpegBaselineWriter(JpegCoefficients source, JpegOrientation orientation, CancellationToken cancellation)
    {
        this.orientation = orientation;
        this.cancellation = cancellation;
        (rows, columns) = orientation.Transposes ? (source.Columns, source.Rows) : (source.Rows, source.Columns);
        places = JpegZigzag.Places(orientation);
        signs = JpegZigzag.Signs(orientation);
        parts = [.. source.Planes.Select((plane, index) => new Part(plane, orientation.Transposes, source.Color == JpegColor.Rgb ? "RGB"u8[index] : (byte)(index + 1), tables: index == 0 ? 0 : 1))];
        int widest = parts.Max(part => part.Horizontal);
        int tallest = parts.Max(part => part.Vertical);
        McuColumns = DivideUp(columns, 8 * widest);
        McuRows = DivideUp(rows, 8 * tallest);
        if ((orientation.MirrorsColumns && columns % (8 * widest) != 0) || (orientation.MirrorsRows && rows % (8 * tallest) != 0))
        {
            throw new InvalidOperationException("A mirrored side of the picture does not end with a whole MCU.");
        }
    }

    private int McuColumns { get; }

    private int McuRows { get; }

    /// <summary>Writes all of it.</summary>
    /// <returns>Null, or why nothing was written.</returns>
    public JpegRefusal? Write(Stream target, out long length)
    {
        length = 0;
        bool interleaved = parts.Sum(part => part.Horizontal * part.Vertical) <= MostBlocks;
        Part[][] scans = parts.Length == 1 || interleaved ? [parts] : [.. parts.Select(part => (Part[])[part])];
        foreach (Part[] scan in scans)
        {
            ForEachMcuRow(scan, writer: null);
        }

        if (frequencies[0].AsSpan(LargestDc + 1).ContainsAnyExcept(0) || frequencies[1].AsSpan(LargestDc + 1).ContainsAnyExcept(0)
            || HasTooLargeAc(frequencies[2]) || HasTooLargeAc(frequencies[3]))
        {
            return new JpegRefusal(JpegObstacle.Damaged, "The picture has coefficients that 8-bit samples cannot give.");
        }

        var writer = new JpegBitWriter(target);
        List<byte> head = Head();
        for (int table = 0; table < (parts.Length > 1 ? 2 : 1); table++)
        {
            JpegOptimalTable dc = JpegOptimalTable.For(frequencies[table]);
            JpegOptimalTable ac = JpegOptimalTable.For(frequencies[2 + table]);
            dc.WriteTo(head, (byte)table);
            ac.WriteTo(head, (byte)(0x10 | table));
            foreach (Part part in parts.Where(part => part.Tables == table))
            {
                (part.Dc, part.Ac) = (dc.Codes, ac.Codes);
            }
        }

        foreach (Part[] scan in scans)
        {
            // Spectral range 0 to 63, no bits left out (Ss, Se, Ah and Al of section B.2.3).
            head.AddRange([0xFF, 0xDA, 0, (byte)(6 + (2 * scan.Length)), (byte)scan.Length]);
            head.AddRange(scan.SelectMany(part => (byte[])[part.Id, (byte)((part.Tables << 4) | part.Tables)]));
            head.AddRange([0, 63, 0]);
            writer.WriteMarkers([.. head]);
            head.Clear();
            writer.Begin();
            ForEachMcuRow(scan, writer);
            writer.End();
        }

        writer.WriteMarkers([0xFF, 0xD9]);
        length = writer.Written;
        return null;
    }

    private static bool HasTooLargeAc(long[] counts)
    {
        for (int symbol = 0; symbol < counts.Length; symbol++)
        {
            if (counts[symbol] != 0 && (symbol & 15) > LargestAc)
            {
                return true;
            }
        }

        return false;
    }

    /// <summary>SOI, one DQT for each table that differs, SOF0 (sections B.2.2 and B.2.4.1). Components are named 1, 2, 3 as ITU-T T.871 has them, or R, G, B.</summary>
    private List<byte> Head()
    {
        List<byte> head = [0xFF, 0xD8];
        var tables = new List<ushort[]>();
        List<byte> components = [];
        foreach (Part part in parts)
        {
            ushort[] steps = Turned(part.Plane.Quantization);
            int number = tables.FindIndex(known => known.AsSpan().SequenceEqual(steps));
            if (number < 0)
            {
                number = tables.Count;
                tables.Add(steps);
                head.AddRange([0xFF, 0xDB, 0, 67, (byte)number]);
                head.AddRange(steps.Select(step => (byte)step));
            }

            components.AddRange([part.Id, (byte)((part.Horizontal << 4) | part.Vertical), (byte)number]);
        }

        head.AddRange([0xFF, 0xC0, 0, (byte)(8 + components.Count), 8, (byte)(rows >> 8), (byte)rows, (byte)(columns >> 8), (byte)columns, (byte)parts.Length]);
        head.AddRange(components);
        return head;
    }

    /// <summary>The steps go where their coefficients go.</summary>
    private ushort[] Turned(ushort[] steps)
    {
        ushort[] turned = new ushort[64];
        for (int k = 0; k < 64; k++)
        {
            turned[places[k]] = steps[k];
        }

        return turned;
    }

    private void ForEachMcuRow(Part[] scan, JpegBitWriter? writer)
    {
        bool alone = scan.Length == 1;
        int lines = alone ? scan[0].Height : McuRows;
        foreach (Part part in scan)
        {
            part.Predictor = 0;
        }

        for (int row = 0; row < lines; row++)
        {
            cancellation.ThrowIfCancellationRequested();
            if (writer is null)
            {
                TakeRow(scan, alone, row, null);
            }
            else
            {
                TakeRow(scan, alone, row, writer);
            }
        }
    }

    /// <summary>Goes through the blocks of a row of MCUs: counts their symbols, or writes them where there is a writer.</summary>
    [MethodImpl(MethodImplOptions.AggressiveOptimization)]
    private void TakeRow(Part[] scan, bool alone, int row, JpegBitWriter? writer)
    {
        short* turned = stackalloc short[64];
        int mcus = alone ? scan[0].Width : McuColumns;
        for (int column = 0; column < mcus; column++)
        {
            foreach (Part part in scan)
            {
                int across = alone ? 1 : part.Horizontal;
                int down = alone ? 1 : part.Vertical;
                for (int i = 0; i < across * down; i++)
                {
                    short* block = Find(part, (column * across) + (i % across), (row * down) + (i / across), turned, out ulong nonZero);
                    if (writer is null)
                    {
                        Count(part, block, nonZero);
                        continue;
                    }

                    writer.Ensure();
                    Write(part, block, nonZero, writer);
                }
            }
        }
    }

    /// <summary>The block that comes to stand there, turned; null for the filling behind the picture's edge, which repeats the DC value before it.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private short* Find(Part part, int column, int row, short* turned, out ulong nonZero)
    {
        nonZero = 0;
        if (column >= part.Width || row >= part.Height)
        {
            return null;
        }

        column = orientation.MirrorsColumns ? part.Width - 1 - column : column;
        row = orientation.MirrorsRows ? part.Height - 1 - row : row;
        short* block = orientation.Transposes ? part.Plane.Block(row, column) : part.Plane.Block(column, row);
        ulong mask = JpegBlocks.NonZero(block);
        if (orientation.IsUpright)
        {
            nonZero = mask;
            return block;
        }

        // Only what is not 0 is moved and read again, so the rest need not be wiped.
        turned[0] = 0;
        ulong moved = 0;
        for (; mask != 0; mask &= mask - 1)
        {
            int k = BitOperations.TrailingZeroCount(mask);
            int place = places[k];
            int sign = signs[k];
            turned[place] = (short)((block[k] ^ sign) - sign);
            moved |= 1UL << place;
        }

        nonZero = moved;
        return turned;
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private void Count(Part part, short* block, ulong nonZero)
    {
        long[] ac = frequencies[2 + part.Tables];
        int difference = block is null ? 0 : block[0] - part.Predictor;
        part.Predictor += difference;
        frequencies[part.Tables][SizeOf(difference)]++;
        int last = 0;
        for (nonZero &= ~1UL; nonZero != 0; nonZero &= nonZero - 1)
        {
            int k = BitOperations.TrailingZeroCount(nonZero);
            int run = k - last - 1;
            last = k;
            if (run > 15)
            {
                ac[SixteenZeros] += run >> 4;
                run &= 15;
            }

            ac[((run << 4) | SizeOf(block[k])) & 0xFF]++;
        }

        if (last != 63)
        {
            ac[EndOfBlock]++;
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void Write(Part part, short* block, ulong nonZero, JpegBitWriter writer)
    {
        ulong bits = writer.Bits;
        int room = writer.Room;
        byte* at = writer.At;
        uint[] ac = part.Ac;
        int difference = block is null ? 0 : block[0] - part.Predictor;
        part.Predictor += difference;
        int size = SizeOf(difference);
        uint code = part.Dc[size];
        JpegBitWriter.Put((code >> 5) | Appended(difference, size), (int)code & 31, ref bits, ref room, ref at);
        int last = 0;
        for (nonZero &= ~1UL; nonZero != 0; nonZero &= nonZero - 1)
        {
            int k = BitOperations.TrailingZeroCount(nonZero);
            int run = k - last - 1;
            last = k;
            for (; run > 15; run -= 16)
            {
                code = ac[SixteenZeros];
                JpegBitWriter.Put(code >> 5, (int)code & 31, ref bits, ref room, ref at);
            }

            int value = block[k];
            size = SizeOf(value);
            code = ac[(run << 4) | size];
            JpegBitWriter.Put((code >> 5) | Appended(value, size), (int)code & 31, ref bits, ref room, ref at);
        }

        if (last != 63)
        {
            code = ac[EndOfBlock];
            JpegBitWriter.Put(code >> 5, (int)code & 31, ref bits, ref room, ref at);
        }

        writer.Bits = bits;
        writer.Room = room;
        writer.At = at;
    }

    /// <summary>Bits of the magnitude.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static int SizeOf(int value) => 32 - BitOperations.LeadingZeroCount((uint)Math.Abs(value));

    /// <summary>A negative value is written as its complement (section F.1.2.1).</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static uint Appended(int value, int size) => (uint)(value + (value >> 31)) & ((1u << size) - 1);

    private static int DivideUp(int dividend, int divisor) => (dividend + divisor - 1) / divisor;

    /// <summary>A component as it is written.</summary>
    private sealed class Part(JpegPlane plane, bool transposes, byte id, int tables)
    {
        public JpegPlane Plane { get; } = plane;

        public byte Id { get; } = id;

        /// <summary>Number of its Huffman tables.</summary>
        public int Tables { get; } = tables;

        public int Horizontal { get; } = transposes ? plane.Vertical : plane.Horizontal;

        public int Vertical { get; } = transposes ? plane.Horizontal : plane.Vertical;

        public int Width { get; } = transposes ? plane.Height : plane.Width;

        public int Height { get; } = transposes ? plane.Width : plane.Height;

        public int Predictor { get; set; }

        public uint[] Dc { get; set; } = [];

        public uint[] Ac { get; set; } = [];
    }
}
