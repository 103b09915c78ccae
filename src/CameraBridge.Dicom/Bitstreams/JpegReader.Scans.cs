using System.Globalization;

namespace CameraBridge.Dicom.Bitstreams;

/// <content>Scans: their headers, and the walk over their blocks.</content>
internal sealed partial class JpegReader
{
    /// <summary>The scan header (section B.2.3) and the data behind it, up to the next marker that is no restart marker.</summary>
    private bool ReadScan(ReadOnlySpan<byte> body, long offset, int headerLength)
    {
        header.ScanCount++;
        var components = new ScanComponent[4];
        int count = 0;
        long mcus = 0;
        bool countable = header.FrameMarker is 0xC0 or 0xC1 && header.Precision == 8 && header.Rows > 0 && header.Columns > 0;
        if (header.FrameMarker == 0)
        {
            Find(JpegFlaw.Malformed, "A scan begins before the frame header.", offset);
            return false;
        }

        if (countable && !PrepareScan(body, components, out count, out mcus))
        {
            return false;
        }

        input.Position += headerLength;
        if (countable)
        {
            CountBlocks(components.AsSpan(0, count), mcus);
        }

        allCounted &= countable;
        WalkToNextSegment();
        segments.Add(new JpegSegment(0xDA, offset, input.Offset - offset));
        return true;
    }

    private bool PrepareScan(ReadOnlySpan<byte> body, ScanComponent[] components, out int count, out long mcus)
    {
        mcus = 0;
        count = body.Length > 0 ? body[0] : 0;
        if (count is < 1 or > 4 || body.Length < 4 + (count * 2) || count > header.Components.Count)
        {
            Find(JpegFlaw.Malformed, "A scan header does not fit the frame.");
            return false;
        }

        if (body[1 + (count * 2)] != 0 || body[2 + (count * 2)] != 63 || body[3 + (count * 2)] != 0)
        {
            Find(JpegFlaw.Oddity, "A sequential scan names a spectral range other than 0 to 63.");
        }

        int widest = header.Components.Max(component => component.Horizontal);
        int tallest = header.Components.Max(component => component.Vertical);
        for (int i = 0; i < count; i++)
        {
            byte id = body[1 + (i * 2)];
            int tables = body[2 + (i * 2)];
            int index = IndexOfComponent(id);
            if (index < 0 || tables >> 4 > 3 || (tables & 15) > 3
                || dcTables[tables >> 4] is not { } dc || acTables[tables & 15] is not { } ac
                || !quantization[header.Components[index].QuantizationTable])
            {
                Find(JpegFlaw.Malformed, "A scan asks for a component, a Huffman table or a quantization table that the file does not hold.");
                return false;
            }

            JpegComponent component = header.Components[index];
            if (count == 1)
            {
                // A scan of one component is not interleaved: its MCU is one block, and there are as many as cover its samples (A.2.2).
                components[0] = new ScanComponent(1, dc, ac);
                mcus = (long)DivideUp(DivideUp(header.Columns * component.Horizontal, widest), 8)
                    * DivideUp(DivideUp(header.Rows * component.Vertical, tallest), 8);
            }
            else
            {
                components[i] = new ScanComponent(component.Horizontal * component.Vertical, dc, ac);
                mcus = (long)DivideUp(header.Columns, 8 * widest) * DivideUp(header.Rows, 8 * tallest);
            }
        }

        return true;
    }

    private int IndexOfComponent(byte id)
    {
        for (int i = 0; i < header.Components.Count; i++)
        {
            if (header.Components[i].Id == id)
            {
                return i;
            }
        }

        return -1;
    }

    private void CountBlocks(ReadOnlySpan<ScanComponent> components, long mcus)
    {
        var walk = new JpegScanWalk(input);
        ScanEnd end = walk.Walk(components, mcus, header.RestartInterval);
        header.RestartMarkerCount += walk.RestartMarkers;
        if (end == ScanEnd.Short)
        {
            Find(JpegFlaw.Torn, string.Create(CultureInfo.InvariantCulture, $"The scan ends after {walk.McuCount} of {mcus} blocks of the picture."));
        }
        else if (end == ScanEnd.Damaged)
        {
            Find(JpegFlaw.Damaged, string.Create(CultureInfo.InvariantCulture, $"The scan cannot be decoded beyond {walk.McuCount} of {mcus} blocks of the picture."));
        }
        else if (walk.HasStrayData)
        {
            Find(JpegFlaw.Damaged, string.Create(CultureInfo.InvariantCulture, $"{walk.ExtraBytes} bytes in the scan belong to no block, so that blocks before them are not what they were."));
        }
        else if (walk.ExtraBytes > 0)
        {
            Find(JpegFlaw.Oddity, string.Create(CultureInfo.InvariantCulture, $"{walk.ExtraBytes} bytes in the scan belong to no block."));
        }
    }

    private void WalkToNextSegment()
    {
        while (JpegScanWalk.SkipToMarker(input) && input.Window[input.Position + 1] is >= 0xD0 and <= 0xD7)
        {
            header.RestartMarkerCount++;
            input.Position += 2;
        }
    }

    internal static int DivideUp(int dividend, int divisor) => (dividend + divisor - 1) / divisor;
}
