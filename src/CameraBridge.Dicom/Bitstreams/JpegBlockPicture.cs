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

        // Four rows at a time, so that no sum waits for the one before it; of a smaller picture the rest are zeros.
        float* rows = stackalloc float[32];
        for (int y = 0; y < Size; y += 4, to += 4 * stride)
        {
            SumFour(block, _down + (y * 8), FarthestRow[last], Vector256<float>.Zero, rows);
            SumFour(_across, rows, FarthestColumn[last], Vector256.Create(Level), rows);
            for (int line = 0; line < Math.Min(Size, 4); line++)
            {
                WriteRow(Vector256.Load(rows + (line * 8)), to + (line * stride));
            }
        }

        ClearRows(block, FarthestRow[last]);
    }

    private static void ClearRows(float* block, int lastRow)
    {
        for (int v = 0; v <= lastRow; v++)
        {
            Vector256<float>.Zero.Store(block + (v * 8));
        }
    }

    /// <summary>Four sums of the same rows of eight, each with weights of its own.</summary>
    /// <param name="rows">The rows.</param>
    /// <param name="weights">One for each row; eight floats behind them those of the next sum.</param>
    /// <param name="last">The last row that counts.</param>
    /// <param name="start">What each sum begins with.</param>
    /// <param name="sums">Takes them, eight floats each; may be the weights.</param>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private static void SumFour(float* rows, float* weights, int last, Vector256<float> start, float* sums)
    {
        (Vector256<float> first, Vector256<float> second, Vector256<float> third, Vector256<float> fourth) = (start, start, start, start);
        for (int i = 0; i <= last; i++)
        {
            Vector256<float> row = Vector256.Load(rows + (i * 8));
            first = Vector256.MultiplyAddEstimate(row, Vector256.Create(weights[i]), first);
            second = Vector256.MultiplyAddEstimate(row, Vector256.Create(weights[i + 8]), second);
            third = Vector256.MultiplyAddEstimate(row, Vector256.Create(weights[i + 16]), third);
            fourth = Vector256.MultiplyAddEstimate(row, Vector256.Create(weights[i + 24]), fourth);
        }

        first.Store(sums);
        second.Store(sums + 8);
        third.Store(sums + 16);
        fourth.Store(sums + 24);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private void WriteRow(Vector256<float> sums, byte* to)
    {
        Vector256<int> samples = Vector256.ConvertToInt32Native(Vector256.ClampNative(sums, Vector256<float>.Zero, Vector256.Create(255f)));
        Vector128<short> words = Vector128.Narrow(samples.GetLower(), samples.GetUpper());
        ulong eight = Vector128.Narrow(words, words).AsUInt64().ToScalar();
        switch (Size)
        {
            case 8:
                Unsafe.WriteUnaligned(to, eight);
                break;
            case 4:
                Unsafe.WriteUnaligned(to, (uint)eight);
                break;
            default:
                Unsafe.WriteUnaligned(to, (ushort)eight);
                break;
        }
    }

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
