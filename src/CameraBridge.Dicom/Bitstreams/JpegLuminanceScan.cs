using System.Runtime.CompilerServices;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>The one scan of a file whose luminance is decoded (<see cref="JpegLuminance"/>).</summary>
internal sealed unsafe class JpegLuminanceScan
{
    private readonly JpegHeader _header;

    private readonly int _restartInterval;

    private readonly JpegBits _bits;

    private readonly Part[] _parts;

    /// <summary>Quantization steps of the luminance in zigzag order.</summary>
    private readonly float[] _steps;

    private JpegLuminanceScan(JpegHeader header, int restartInterval, JpegBits bits, Part[] parts, float[] steps)
    {
        _header = header;
        _restartInterval = restartInterval;
        _bits = bits;
        _parts = parts;
        _steps = steps;
    }

    /// <summary>Reads the tables and the scan's header (section B.2.3).</summary>
    /// <param name="header">What stands before the scan.</param>
    /// <param name="input">The same file from its beginning; behind the scan's header afterwards.</param>
    /// <returns>Null when anything is missing or the scan has not all components.</returns>
    public static JpegLuminanceScan? Begin(JpegHeader header, JpegInput input)
    {
        var tables = new JpegTables();
        foreach (JpegSegment segment in header.Segments)
        {
            if (segment.Marker is 0xC4 or 0xDB or 0xDD
                && !(input.SkipTo(segment.Offset) && input.TakeSegment() is { } body && tables.Read(segment.Marker, body) is null))
            {
                return null;
            }
        }

        JpegSegment before = header.Segments[^1];
        if (!input.SkipTo(before.Offset + before.Length) || !JpegScanWalk.SkipToMarker(input) || input.Window[input.Position + 1] != 0xDA || input.TakeSegment() is not { } scan
            || tables.Quantization[header.Components[0].QuantizationTable] is not { } steps)
        {
            return null;
        }

        int count = header.Components.Count;
        if (scan.Length != 4 + (count * 2) || scan[0] != count || scan[^3] != 0 || scan[^2] != 63 || scan[^1] != 0)
        {
            return null;
        }

        var parts = new Part[count];
        for (int i = 0; i < count; i++)
        {
            JpegComponent component = header.Components[i];
            int numbers = scan[2 + (i * 2)];
            if (scan[1 + (i * 2)] != component.Id || tables.Quantization[component.QuantizationTable] is null || numbers >> 4 > 3 || (numbers & 15) > 3
                || tables.Dc[numbers >> 4] is not { } dc || tables.Ac[numbers & 15] is not { } ac)
            {
                return null;
            }

            // A component alone is taken as sampled 1 by 1 (section A.2.2).
            parts[i] = count == 1 ? new Part(1, 1, dc, ac) : new Part(component.Horizontal, component.Vertical, dc, ac);
        }

        return new JpegLuminanceScan(header, tables.RestartInterval, new JpegBits(input), parts, [.. steps.Select(step => (float)step)]);
    }

    /// <summary>Decodes it.</summary>
    public ScanEnd Decode(JpegBlockPicture blocks, int width, int height, Span<byte> grey)
    {
        Part luminance = _parts[0];
        int columns = JpegReader.DivideUp(_header.Columns, 8 * luminance.Horizontal);
        int rows = JpegReader.DivideUp(_header.Rows, 8 * luminance.Vertical);
        int lines = blocks.Size * luminance.Vertical;
        int stride = columns * blocks.Size * luminance.Horizontal;
        byte[] strip = GC.AllocateUninitializedArray<byte>(stride * lines);
        float* block = stackalloc float[64];
        new Span<float>(block, 64).Clear();
        _bits.Clear();
        int untilRestart = _restartInterval;
        int nextRestart = 0;
        fixed (byte* samples = strip, places = JpegZigzag.Natural)
        fixed (float* steps = _steps)
        {
            var target = new Spectrum(block, steps, places);
            for (int row = 0; row < rows; row++)
            {
                for (int column = 0; column < columns; column++)
                {
                    if (_restartInterval != 0 && untilRestart-- == 0)
                    {
                        if (_bits.TakeRestart(nextRestart) is { } early)
                        {
                            return early;
                        }

                        nextRestart = (nextRestart + 1) & 7;
                        untilRestart = _restartInterval - 1;
                        foreach (Part part in _parts)
                        {
                            part.Predictor = 0;
                        }
                    }

                    if (DecodeMcu(blocks, ref target, samples + (column * blocks.Size * luminance.Horizontal), stride) is var end and not ScanEnd.Whole)
                    {
                        return end;
                    }
                }

                for (int line = 0, y = row * lines; line < lines && y < height; line++, y++)
                {
                    strip.AsSpan(line * stride, width).CopyTo(grey[(y * width)..]);
                }
            }
        }

        return _bits.EndInterval();
    }

    private ScanEnd DecodeMcu(JpegBlockPicture blocks, ref Spectrum target, byte* samples, int stride)
    {
        Part luminance = _parts[0];
        for (int y = 0; y < luminance.Vertical; y++)
        {
            for (int x = 0; x < luminance.Horizontal; x++)
            {
                if (DecodeLuminance(luminance, ref target) is var end and not ScanEnd.Whole)
                {
                    return end;
                }

                blocks.Write(target.Block, target.Last, samples + (((y * stride) + x) * blocks.Size), stride);
            }
        }

        for (int i = 1; i < _parts.Length; i++)
        {
            for (int count = _parts[i].Horizontal * _parts[i].Vertical; count > 0; count--)
            {
                if (PassOver(_parts[i]) is var end and not ScanEnd.Whole)
                {
                    return end;
                }
            }
        }

        return ScanEnd.Whole;
    }

    private ScanEnd DecodeLuminance(Part part, ref Spectrum target) => JpegSequentialBlock.Decode(_bits, part.Dc, part.Ac, ref part.Predictor, ref target);

    private ScanEnd PassOver(Part part)
    {
        var nothing = default(Nothing);
        return JpegSequentialBlock.Decode(_bits, part.Dc, part.Ac, ref part.Predictor, ref nothing);
    }

    /// <summary>A component in the scan: the blocks of an MCU in each direction, and its tables.</summary>
    private sealed class Part(int horizontal, int vertical, JpegDecodingTable dc, JpegDecodingTable ac)
    {
        /// <summary>DC value of the block before.</summary>
        public int Predictor;

        public int Horizontal { get; } = horizontal;

        public int Vertical { get; } = vertical;

        public JpegDecodingTable Dc { get; } = dc;

        public JpegDecodingTable Ac { get; } = ac;
    }

    /// <summary>Dequantized coefficients in their natural order.</summary>
    private struct Spectrum(float* block, float* steps, byte* places) : IJpegBlockTarget
    {
        private readonly float* _steps = steps;

        private readonly byte* _places = places;

        public float* Block { get; } = block;

        /// <summary>The last place in the zigzag order that is not 0.</summary>
        public int Last { get; private set; }

        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public void Put(int k, int value)
        {
            Block[_places[k]] = value * _steps[k];
            Last = k;
        }
    }

    /// <summary>Colours are of no use here.</summary>
    private readonly struct Nothing : IJpegBlockTarget
    {
        [MethodImpl(MethodImplOptions.AggressiveInlining)]
        public void Put(int k, int value)
        {
        }
    }
}
