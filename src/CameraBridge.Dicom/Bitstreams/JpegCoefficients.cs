using System.Globalization;
using System.Runtime.InteropServices;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// The quantized DCT coefficients of a Huffman-coded 8-bit JPEG picture (baseline, extended sequential or progressive; ITU-T T.81), whole or not at
/// all. From them the same picture is written as a baseline one, turned upright where need be, without a rounding anywhere.
/// </summary>
/// <remarks>
/// A coefficient takes two bytes, which lie outside the collected heap and are given back by <see cref="Dispose"/>: 3 bytes a pixel at 4:2:0, so
/// 72 MB for 24 megapixels. Decode one picture at a time.
/// </remarks>
public sealed unsafe class JpegCoefficients : IDisposable
{
    /// <summary>Memory for coefficients, at most: a picture of 33 megapixels at 4:2:0, of 16 megapixels at 4:4:4.</summary>
    public const long MaximumBytes = 96L << 20;

    private readonly BlockMemory memory;

    private JpegCoefficients(JpegHeader header, JpegPlane[] planes, BlockMemory memory)
    {
        Rows = header.Rows;
        Columns = header.Columns;
        Color = JpegColors.Of(header);
        Planes = planes;
        this.memory = memory;
    }

    /// <summary>Lines.</summary>
    public int Rows { get; }

    /// <summary>Samples a line.</summary>
    public int Columns { get; }

    /// <summary>What the components are: monochrome, YCbCr or RGB.</summary>
    public JpegColor Color { get; }

    /// <summary>The components in the order of the frame header.</summary>
    internal JpegPlane[] Planes { get; }

    /// <summary>
    /// Whether the picture can be a baseline one: quantization steps up to 255 (Pq = 0, ITU-T T.81 section B.2.4.1). Steps beyond are for pictures of 12 bits,
    /// though a few programs write them at 8.
    /// </summary>
    public bool FitBaseline => Planes.All(plane => plane.Quantization.All(step => step <= 255));

    /// <summary>Reads all coefficients of a file.</summary>
    /// <param name="header">What <see cref="JpegHeader.ReadFile"/> said of the same file.</param>
    /// <param name="path">The file.</param>
    /// <param name="refusal">Why there are none: another process, a picture that is torn, damaged or malformed, or one beyond <see cref="MaximumBytes"/>.</param>
    /// <param name="cancellation">Looked at between rows of blocks.</param>
    /// <returns>Null with a refusal.</returns>
    /// <exception cref="IOException">The file cannot be read.</exception>
    /// <exception cref="OperationCanceledException">It was cancelled.</exception>
    public static JpegCoefficients? ReadFile(JpegHeader header, string path, out JpegRefusal? refusal, CancellationToken cancellation = default)
    {
        using var stream = new FileStream(path, FileMode.Open, FileAccess.Read, FileShare.Read, bufferSize: 0);
        return Read(header, stream, out refusal, cancellation);
    }

    /// <summary>Reads all coefficients from a stream; see <see cref="ReadFile"/>.</summary>
    public static JpegCoefficients? Read(JpegHeader header, Stream stream, out JpegRefusal? refusal, CancellationToken cancellation = default)
    {
        ArgumentNullException.ThrowIfNull(header);
        ArgumentNullException.ThrowIfNull(stream);
        refusal = JudgeHeader(header);
        if (refusal is not null)
        {
            return null;
        }

        JpegCoefficients coefficients = Allocate(header);
        bool kept = false;
        try
        {
            using var input = new JpegInput(stream);
            refusal = new JpegCoefficientReader(header, coefficients, input, cancellation).Read();
            kept = refusal is null;
            return kept ? coefficients : null;
        }
        finally
        {
            if (!kept)
            {
                coefficients.Dispose();
            }
        }
    }

    /// <summary>Writes the picture as a baseline JPEG stream (SOF0, 8 bits) with Huffman tables made for it, from SOI to EOI, without application data: a decoder knows an RGB picture by the names of its components.</summary>
    /// <param name="target">Where to; written in large pieces.</param>
    /// <param name="orientation">How to turn it; <see cref="JpegOrientation.FitsGridOf"/> must allow it.</param>
    /// <param name="length">Bytes written.</param>
    /// <param name="cancellation">Looked at between rows of blocks.</param>
    /// <returns>Null, or why nothing was written: quantization steps or coefficients that baseline does not have.</returns>
    /// <exception cref="InvalidOperationException">The grid does not allow it.</exception>
    /// <exception cref="OperationCanceledException">It was cancelled.</exception>
    public JpegRefusal? WriteBaseline(Stream target, JpegOrientation orientation, out long length, CancellationToken cancellation = default)
    {
        ArgumentNullException.ThrowIfNull(target);
        ObjectDisposedException.ThrowIf(memory.IsClosed, this);
        length = 0;
        return FitBaseline
            ? new JpegBaselineWriter(this, orientation, cancellation).Write(target, out length)
            : new JpegRefusal(JpegObstacle.Extended, "The picture has quantization steps beyond 255, which baseline JPEG does not have.");
    }

    /// <summary>Gives the memory back.</summary>
    public void Dispose() => memory.Dispose();

    private static JpegRefusal? JudgeHeader(JpegHeader header)
    {
        foreach ((JpegFlaw flaw, JpegObstacle obstacle) in (ReadOnlySpan<(JpegFlaw, JpegObstacle)>)
            [(JpegFlaw.NotJpeg, JpegObstacle.NotJpeg), (JpegFlaw.Torn, JpegObstacle.Torn), (JpegFlaw.Malformed, JpegObstacle.Malformed), (JpegFlaw.Damaged, JpegObstacle.Damaged)])
        {
            if (header.First(flaw) is { } finding)
            {
                return new JpegRefusal(obstacle, finding.Text);
            }
        }

        if (header.FrameMarker is not (0xC0 or 0xC1 or 0xC2))
        {
            return new JpegRefusal(JpegObstacle.OtherProcess, string.Create(
                CultureInfo.InvariantCulture,
                $"The picture is coded by a JPEG process (SOF{header.FrameMarker - 0xC0}: lossless, hierarchical or arithmetic) other than baseline (SOF0)."));
        }

        if (header.Precision != 8)
        {
            return new JpegRefusal(JpegObstacle.Extended, string.Create(
                CultureInfo.InvariantCulture, $"The picture has {header.Precision} bits a sample, not 8."));
        }

        if (header.Rows == 0)
        {
            return new JpegRefusal(JpegObstacle.LinesUnknown, "The frame header does not give the number of lines (DNL).");
        }

        if (JpegColors.Of(header) is var color and (JpegColor.Cmyk or JpegColor.Unknown))
        {
            return color == JpegColor.Cmyk
                ? new JpegRefusal(JpegObstacle.Cmyk, "The picture has four colour components (CMYK); DICOM has no such photometric interpretation.")
                : new JpegRefusal(JpegObstacle.Components, string.Create(CultureInfo.InvariantCulture, $"The picture has {header.Components.Count} components; 1 or 3 are possible."));
        }

        if (header.Columns == 0 || header.Components.DistinctBy(component => component.Id).Count() != header.Components.Count)
        {
            return new JpegRefusal(JpegObstacle.Malformed, "The frame header gives a width of 0, or a component twice.");
        }

        long bytes = PlanesOf(header).Sum(plane => plane.Bytes);
        return bytes <= MaximumBytes ? null : new JpegRefusal(JpegObstacle.TooLarge, string.Create(
            CultureInfo.InvariantCulture,
            $"The picture ({header.Columns} by {header.Rows}) would take {bytes >> 20} MiB of memory to be rearranged; {MaximumBytes >> 20} MiB are allowed."));
    }

    private static JpegCoefficients Allocate(JpegHeader header)
    {
        JpegPlane[] planes = PlanesOf(header);
        var memory = new BlockMemory(planes.Sum(plane => plane.Bytes));
        short* at = memory.Start;
        foreach (JpegPlane plane in planes)
        {
            plane.Blocks = at;
            at += plane.Bytes / sizeof(short);
        }

        return new JpegCoefficients(header, planes, memory);
    }

    /// <summary>Sizes by ITU-T T.81 section A.1.1 and A.2.4; a component alone is taken as sampled 1 by 1 (section A.2.2).</summary>
    private static JpegPlane[] PlanesOf(JpegHeader header)
    {
        bool alone = header.Components.Count == 1;
        int horizontalDivisor = JpegSampling.CommonDivisor(header.Components, vertical: false);
        int verticalDivisor = JpegSampling.CommonDivisor(header.Components, vertical: true);
        int widest = header.Components.Max(component => component.Horizontal);
        int tallest = header.Components.Max(component => component.Vertical);
        return [.. header.Components.Select(component => new JpegPlane(component.Id, component.QuantizationTable)
        {
            Horizontal = alone ? 1 : component.Horizontal / horizontalDivisor,
            Vertical = alone ? 1 : component.Vertical / verticalDivisor,
            CodedHorizontal = alone ? 1 : component.Horizontal,
            CodedVertical = alone ? 1 : component.Vertical,
            Width = DivideUp(DivideUp(header.Columns * component.Horizontal, widest), 8),
            Height = DivideUp(DivideUp(header.Rows * component.Vertical, tallest), 8),
            Stride = alone ? DivideUp(header.Columns, 8) : DivideUp(header.Columns, 8 * widest) * component.Horizontal,
            Lines = alone ? DivideUp(header.Rows, 8) : DivideUp(header.Rows, 8 * tallest) * component.Vertical,
        })];
    }

    private static int DivideUp(int dividend, int divisor) => (dividend + divisor - 1) / divisor;

    /// <summary>Zeros from the system, page by page as they are touched.</summary>
    private sealed class BlockMemory : SafeHandle
    {
        public BlockMemory(long bytes)
            : base(0, ownsHandle: true) => SetHandle((nint)NativeMemory.AllocZeroed((nuint)bytes));

        public override bool IsInvalid => handle == 0;

        public short* Start => (short*)handle;

        protected override bool ReleaseHandle()
        {
            NativeMemory.Free((void*)handle);
            return true;
        }
    }
}

/// <summary>The blocks of one component, 64 coefficients each in zigzag order, row after row.</summary>
internal sealed unsafe class JpegPlane(byte id, byte table)
{
    public byte Id { get; } = id;

    /// <summary>Number of its quantization table in the file.</summary>
    public byte Table { get; } = table;

    /// <summary>Sampling factors in lowest terms.</summary>
    public required int Horizontal { get; init; }

    public required int Vertical { get; init; }

    /// <summary>Blocks of an MCU as the file has them.</summary>
    public required int CodedHorizontal { get; init; }

    public required int CodedVertical { get; init; }

    /// <summary>Blocks in a row that hold samples of the picture.</summary>
    public required int Width { get; init; }

    /// <summary>Rows of blocks that hold samples of the picture.</summary>
    public required int Height { get; init; }

    /// <summary>Blocks in a row, the filling of the last MCU included.</summary>
    public required int Stride { get; init; }

    /// <summary>Rows of blocks, the filling included.</summary>
    public required int Lines { get; init; }

    public long Bytes => (long)Stride * Lines * 64 * sizeof(short);

    public short* Blocks { get; set; }

    /// <summary>Quantization steps in zigzag order, as they stood when the component's first scan began.</summary>
    public ushort[] Quantization { get; set; } = [];

    /// <summary>For each coefficient, how many low bits are still missing; -1 when nothing has come.</summary>
    public sbyte[] MissingBits { get; } = [.. Enumerable.Repeat((sbyte)-1, 64)];

    public short* Block(int column, int row) => Blocks + ((((long)row * Stride) + column) * 64);
}
