using System.Runtime.CompilerServices;
using System.Runtime.Intrinsics;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// Makes samples of a block's coefficients (ITU-T T.81 section A.3.3, the inverse DCT), all 64 or fewer, each of which is then the mean of those that it stands for: the cosines'
/// means over two, four or eight samples take the place of the cosines.
/// </summary>
internal sealed unsafe class JpegBlockPicture
{
    /// <summary>What is added to each sample: the level shift of section A.3.1, and half a step to round by.</summary>
    private const float Level = 128.5f;

    /// <summary>The farthest column (vertical frequency: row) of the coefficients up to each place in the zigzag order.</summary>
    private static readonly byte[] FarthestColumn = Farthest(natural => natural & 7);

    private static readonly byte[] FarthestRow = Farthest(natural => natural >> 3);

    /// <summary>What the two below point to: they lie pinned.</summary>
    private readonly float[] _weights = GC.AllocateUninitializedArray<float>(128, pinned: true);

    /// <summary>For each sample of a column, what each frequency brings to it.</summary>
    private readonly float* _down;

    /// <summary>For each frequency, what it brings to each sample of a row; zeros behind the last.</summary>
    private readonly float* _across;

    private JpegBlockPicture(int size)
    {
        Size = size;
        _down = (float*)Unsafe.AsPointer(ref _weights[0]);
        _across = _down + 64;
        int mean = 8 / size;
        for (int i = 0; i < 8; i++)
        {
            for (int frequency = 0; frequency < 8; frequency++)
            {
                double weight = 0;
                for (int part = 0; part < mean && i < size; part++)
                {
                    weight += Math.Cos(((2 * ((i * mean) + part)) + 1) * frequency * Math.PI / 16) / mean;
                }

                weight *= frequency == 0 ? Math.Sqrt(0.125) : 0.5;
                _down[(i * 8) + frequency] = (float)weight;
                _across[(frequency * 8) + i] = (float)weight;
            }
        }
    }

    /// <summary>One for each size, the largest first.</summary>
    public static IReadOnlyList<JpegBlockPicture> All { get; } = [new(8), new(4), new(2), new(1)];

    /// <summary>Samples of a block in each direction: 8, 4, 2 or 1.</summary>
    public int Size { get; }

    /// <summary>Writes a block's samples, and sets its coefficients to 0.</summary>
    /// <param name="block">Dequantized coefficients, row after row of vertical frequencies.</param>
    /// <param name="last">The last place in the zigzag order that is not 0.</param>
    /// <param name="to">The first sample.</param>
    /// <param name="stride">From a row to the next.</param>
    public void Write(float* block, int last, byte* to, int stride)
    {
        if (last == 0 || Size == 1)
        {
            byte all = (byte)Math.Clamp((block[0] / 8) + Level, 0f, 255f);
            for (int y = 0; y < Size; y++)
            {
                new Span<byte>(to + (y * stride), Size).Fill(all);
            }

            ClearRows(block, FarthestRow[last]);
            return;
        }

        // Four rows at a time, so that no sum waits for the one before it; of two, the others are zeros.
        float* rows = stackalloc float[32];
        int lastRow = FarthestRow[last];
        int lastColumn = FarthestColumn[last];
        for (int y = 0; y < Size; y += 4, to += 4 * stride)
        {
            SumDown(block, lastRow, _down + (y * 8), rows);
            if (Size == 8)
            {
                WriteEights(rows, lastColumn, to, stride);
            }
            else
            {
                WriteFours(rows, lastColumn, to, stride);
            }
        }

        ClearRows(block, lastRow);
    }

    private static void ClearRows(float* block, int lastRow)
    {
        for (int v = 0; v <= lastRow; v++)
        {
            Vector256<float>.Zero.Store(block + (v * 8));
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void SumDown(float* block, int lastRow, float* down, float* rows)
    {
        Vector256<float> first = Vector256.Load(block) * Vector256.Create(down[0]);
        Vector256<float> second = first;
        Vector256<float> third = first;
        Vector256<float> fourth = first;
        for (int v = 1; v <= lastRow; v++)
        {
            Vector256<float> coefficients = Vector256.Load(block + (v * 8));
            first = Vector256.MultiplyAddEstimate(coefficients, Vector256.Create(down[v]), first);
            second = Vector256.MultiplyAddEstimate(coefficients, Vector256.Create(down[v + 8]), second);
            third = Vector256.MultiplyAddEstimate(coefficients, Vector256.Create(down[v + 16]), third);
            fourth = Vector256.MultiplyAddEstimate(coefficients, Vector256.Create(down[v + 24]), fourth);
        }

        first.Store(rows);
        second.Store(rows + 8);
        third.Store(rows + 16);
        fourth.Store(rows + 24);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private void WriteEights(float* rows, int lastColumn, byte* to, int stride)
    {
        Vector256<float> first = Vector256.Create(Level);
        Vector256<float> second = first;
        Vector256<float> third = first;
        Vector256<float> fourth = first;
        for (int u = 0; u <= lastColumn; u++)
        {
            Vector256<float> across = Vector256.Load(_across + (u * 8));
            first = Vector256.MultiplyAddEstimate(across, Vector256.Create(rows[u]), first);
            second = Vector256.MultiplyAddEstimate(across, Vector256.Create(rows[u + 8]), second);
            third = Vector256.MultiplyAddEstimate(across, Vector256.Create(rows[u + 16]), third);
            fourth = Vector256.MultiplyAddEstimate(across, Vector256.Create(rows[u + 24]), fourth);
        }

        Vector256<byte> all = Bytes(
            Words(Samples(first.GetLower()), Samples(first.GetUpper())), Words(Samples(second.GetLower()), Samples(second.GetUpper())),
            Words(Samples(third.GetLower()), Samples(third.GetUpper())), Words(Samples(fourth.GetLower()), Samples(fourth.GetUpper())));
        for (int y = 0; y < 4; y++)
        {
            Unsafe.WriteUnaligned(to + (y * stride), all.AsUInt64().GetElement(y));
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private void WriteFours(float* rows, int lastColumn, byte* to, int stride)
    {
        Vector128<float> first = Vector128.Create(Level);
        Vector128<float> second = first;
        Vector128<float> third = first;
        Vector128<float> fourth = first;
        for (int u = 0; u <= lastColumn; u++)
        {
            Vector128<float> across = Vector128.Load(_across + (u * 8));
            first = Vector128.MultiplyAddEstimate(across, Vector128.Create(rows[u]), first);
            second = Vector128.MultiplyAddEstimate(across, Vector128.Create(rows[u + 8]), second);
            third = Vector128.MultiplyAddEstimate(across, Vector128.Create(rows[u + 16]), third);
            fourth = Vector128.MultiplyAddEstimate(across, Vector128.Create(rows[u + 24]), fourth);
        }

        Vector128<uint> all = Vector128.Narrow(Words(Samples(first), Samples(second)), Words(Samples(third), Samples(fourth))).AsUInt32();
        for (int y = 0; y < Size; y++)
        {
            if (Size == 4)
            {
                Unsafe.WriteUnaligned(to + (y * stride), all.GetElement(y));
            }
            else
            {
                Unsafe.WriteUnaligned(to + (y * stride), (ushort)all.GetElement(y));
            }
        }
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vector128<int> Samples(Vector128<float> sums) =>
        Vector128.ConvertToInt32Native(Vector128.ClampNative(sums, Vector128<float>.Zero, Vector128.Create(255f)));

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vector128<ushort> Words(Vector128<int> lower, Vector128<int> upper) => Vector128.Narrow(lower, upper).AsUInt16();

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static Vector256<byte> Bytes(Vector128<ushort> first, Vector128<ushort> second, Vector128<ushort> third, Vector128<ushort> fourth) =>
        Vector256.Create(Vector128.Narrow(first, second), Vector128.Narrow(third, fourth));

    private static byte[] Farthest(Func<int, int> of)
    {
        byte[] farthest = new byte[64];
        for (int k = 1; k < 64; k++)
        {
            farthest[k] = (byte)Math.Max(farthest[k - 1], of(JpegZigzag.Natural[k]));
        }

        return farthest;
    }
}
