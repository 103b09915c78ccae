using System.Buffers.Binary;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Headers of PES packets (ISO/IEC 13818-1 section 2.4.3.6; 11172-1 section 2.4.4.3), and the times in them.</summary>
internal static class MpegPackets
{
    /// <summary>Bytes of header before the payload, start code and length included; null when it is none.</summary>
    public static int? HeaderLength(ReadOnlySpan<byte> packet, out long? time)
    {
        time = null;
        if (packet.Length < 9)
        {
            return null;
        }

        if ((packet[6] & 0xC0) == 0x80)
        {
            if ((packet[7] & 0x80) != 0 && packet.Length >= 14)
            {
                time = Time(packet[9..]);
            }

            return 9 + packet[8];
        }

        // MPEG-1: stuffing, buffer size, then times or none.
        int at = 6;
        while (at < packet.Length && packet[at] == 0xFF)
        {
            at++;
        }

        if (at < packet.Length && (packet[at] & 0xC0) == 0x40)
        {
            at += 2;
        }

        if (at + 5 > packet.Length)
        {
            return null;
        }

        int kind = packet[at] >> 4;
        time = kind is 2 or 3 ? Time(packet[at..]) : null;
        return kind switch { 2 => at + 5, 3 => at + 10, 0 => at + 1, _ => null };
    }

    private static long Time(ReadOnlySpan<byte> field) =>
        ((long)((field[0] >> 1) & 7) << 30) | ((long)(BinaryPrimitives.ReadUInt16BigEndian(field[1..]) >> 1) << 15) | (uint)(BinaryPrimitives.ReadUInt16BigEndian(field[3..]) >> 1);
}

/// <summary>Lays the times of packets (90 kHz, 33 bits) beside the count of pictures.</summary>
internal sealed class MpegClock
{
    private const double TicksInSecond = 90000;
    private const long Wrap = 1L << 33;

    private static readonly (long Numerator, long Denominator)[] CommonRates = [(24000, 1001), (24, 1), (25, 1), (30000, 1001), (30, 1), (50, 1), (60000, 1001), (60, 1)];

    private long? _first;
    private long _least = long.MaxValue;
    private long _most = long.MinValue;

    public void Add(long? time)
    {
        if (time is not { } value)
        {
            return;
        }

        _first ??= value;
        value += value < _first - (Wrap / 2) ? Wrap : 0;
        _least = Math.Min(_least, value);
        _most = Math.Max(_most, value);
    }

    /// <summary>The rate by times where the stream tells none; and whether count and times agree with the rate it tells.</summary>
    public void Tell(ClipVideo video)
    {
        if (_first is null || _most <= _least || video.Frames < 2)
        {
            return;
        }

        double seconds = (_most - _least) / TicksInSecond;
        double measured = (video.Frames - 1) / seconds;
        if (video.RateNumerator <= 0)
        {
            (video.RateNumerator, video.RateDenominator) = ((long)Math.Round(measured * 1000), 1000);
            foreach ((long numerator, long denominator) in CommonRates)
            {
                if (Math.Abs(measured / numerator * denominator - 1) < 0.0005 + (1.0 / video.Frames / video.Frames))
                {
                    (video.RateNumerator, video.RateDenominator) = (numerator, denominator);
                }
            }
        }

        // A packet may hold several pictures with the time of the first only.
        double expected = (seconds * video.FrameRate) + 1;
        video.IsConstantRate = Math.Abs(expected - video.Frames) <= Math.Max(3, video.Frames * 0.01);
    }
}
