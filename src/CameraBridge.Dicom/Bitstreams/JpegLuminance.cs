namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// Decodes the luminance of the JPEG files that cameras write (ITU-T T.81 sequential, Huffman-coded, 8 bits, one scan; grey or YCbCr) for looking at it, whole or reduced: colours
/// are stepped over, and of a reduced picture no more samples are made than it has.
/// </summary>
public static class JpegLuminance
{
    /// <summary>Decodes it.</summary>
    /// <param name="file">The file, read from its beginning.</param>
    /// <param name="width">Columns wanted: those of the file, or a half, a quarter or an eighth of them, rounded up.</param>
    /// <param name="height">Rows wanted, likewise.</param>
    /// <param name="grey">Takes the samples, row by row; each is the mean of those that it stands for.</param>
    /// <returns>
    /// False where the file is not of that kind, not of that size, or not whole; <paramref name="grey"/> then holds anything.
    /// </returns>
    /// <exception cref="ArgumentOutOfRangeException">They have no room there.</exception>
    /// <exception cref="IOException">The file cannot be read.</exception>
    public static bool TryDecode(Stream file, int width, int height, Span<byte> grey)
    {
        ArgumentNullException.ThrowIfNull(file);
        ArgumentOutOfRangeException.ThrowIfLessThan(grey.Length, (long)width * height);
        JpegHeader header;
        using (var beginning = new JpegInput(file))
        {
            header = new JpegReader(beginning, beforeScans: true).Read();
        }

        if (!IsFit(header) || JpegBlockPicture.All.FirstOrDefault(blocks => Reduced(header.Columns, blocks.Size) == width && Reduced(header.Rows, blocks.Size) == height) is not { } blocks)
        {
            return false;
        }

        using var input = new JpegInput(file);
        return JpegLuminanceScan.Begin(header, input)?.Decode(blocks, width, height, grey) == ScanEnd.Whole;
    }

    private static bool IsFit(JpegHeader header) =>
        header.FrameMarker is 0xC0 or 0xC1 && header.Precision == 8 && header.Rows > 0 && header.Columns > 0
        && JpegColors.Of(header) is JpegColor.Monochrome or JpegColor.YCbCr
        && !header.Components.Any(component => component.Horizontal > header.Components[0].Horizontal || component.Vertical > header.Components[0].Vertical);

    private static int Reduced(int samples, int size) => JpegReader.DivideUp(samples * size, 8);
}
