namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>
/// Writes small, whole baseline JPEG files by ITU-T T.81 Annex B. Every block is grey: both Huffman tables have one code of one bit, "0", for
/// "no difference" (DC) and "end of block" (AC), so that a block is the two bits 00 and the padding of T.81 F.1.2.3 is 1-bits.
/// </summary>
internal sealed class TestJpeg
{
    public byte FrameMarker { get; init; } = 0xC0;

    public byte Precision { get; init; } = 8;

    public int Columns { get; init; } = 40;

    public int Rows { get; init; } = 24;

    /// <summary>Identifier and sampling (high nibble horizontal, low nibble vertical) of each component.</summary>
    public (byte Id, byte Sampling)[] Components { get; init; } = [(1, 0x22), (2, 0x11), (3, 0x11)];

    public int RestartInterval { get; init; }

    /// <summary>One scan for each component instead of one for all.</summary>
    public bool Interleaved { get; init; } = true;

    /// <summary>Whole segments to stand behind the start of image.</summary>
    public List<byte[]> Before { get; init; } = [];

    /// <summary>Bytes behind the end of the image.</summary>
    public byte[] Behind { get; init; } = [];

    public static (byte, byte)[] Grey { get; } = [(1, 0x11)];

    public static byte[] Jfif { get; } = Segment(0xE0, [.. "JFIF\0"u8, 1, 1, 0, 0, 1, 0, 1, 0, 0]);

    public static byte[] Adobe(byte transform) => Segment(0xEE, [.. "Adobe"u8, 0, 100, 0, 0, 0, 0, transform]);

    public static byte[] Segment(byte marker, params byte[] body) =>
        [0xFF, marker, (byte)((body.Length + 2) >> 8), (byte)(body.Length + 2), .. body];

    public byte[] ToBytes()
    {
        var bytes = new List<byte> { 0xFF, 0xD8 };
        Before.ForEach(bytes.AddRange);
        bytes.AddRange(Segment(0xDB, [0, .. Enumerable.Repeat((byte)16, 64)]));
        bytes.AddRange(Segment(
            FrameMarker,
            [
                Precision, (byte)(Rows >> 8), (byte)Rows, (byte)(Columns >> 8), (byte)Columns, (byte)Components.Length,
                .. Components.SelectMany(component => (byte[])[component.Id, component.Sampling, 0]),
            ]));
        byte[] oneCode = [1, .. new byte[15], 0];
        bytes.AddRange(Segment(0xC4, [0x00, .. oneCode, 0x10, .. oneCode]));
        if (RestartInterval > 0)
        {
            bytes.AddRange(Segment(0xDD, (byte)(RestartInterval >> 8), (byte)RestartInterval));
        }

        if (Interleaved)
        {
            AddScan(bytes, Components);
        }
        else
        {
            foreach ((byte, byte) component in Components)
            {
                AddScan(bytes, [component]);
            }
        }

        return [.. bytes, 0xFF, 0xD9, .. Behind];
    }

    private void AddScan(List<byte> bytes, (byte Id, byte Sampling)[] inScan)
    {
        bytes.AddRange(Segment(
            0xDA, [(byte)inScan.Length, .. inScan.SelectMany(component => (byte[])[component.Id, 0]), 0, 63, 0]));
        int widest = Components.Max(component => component.Sampling >> 4);
        int tallest = Components.Max(component => component.Sampling & 15);
        int mcus;
        int blocks;
        if (inScan.Length == 1)
        {
            mcus = Up(Up(Columns * (inScan[0].Sampling >> 4), widest), 8) * Up(Up(Rows * (inScan[0].Sampling & 15), tallest), 8);
            blocks = 1;
        }
        else
        {
            mcus = Up(Columns, 8 * widest) * Up(Rows, 8 * tallest);
            blocks = inScan.Sum(component => (component.Sampling >> 4) * (component.Sampling & 15));
        }

        int interval = RestartInterval == 0 ? mcus : RestartInterval;
        for (int done = 0, restart = 0; done < mcus; done += interval)
        {
            if (done > 0)
            {
                bytes.AddRange([0xFF, (byte)(0xD0 + (restart++ & 7))]);
            }

            int bits = Math.Min(interval, mcus - done) * blocks * 2;
            bytes.AddRange(new byte[bits / 8]);
            if (bits % 8 != 0)
            {
                bytes.Add((byte)(0xFF >> (bits % 8)));
            }
        }
    }

    private static int Up(int dividend, int divisor) => (dividend + divisor - 1) / divisor;
}
