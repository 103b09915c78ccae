namespace CameraBridge.Dicom.Bitstreams;

/// <summary>What an AAC track says of itself (ISO/IEC 14496-3 section 1.6.2.1, AudioSpecificConfig).</summary>
/// <param name="ObjectType">2 is low complexity, 5 spectral band replication, 29 parametric stereo.</param>
/// <param name="SampleRate">Samples a second that come out of the decoder.</param>
/// <param name="Channels">Channels; 0 when the stream itself has to tell.</param>
public sealed record AacConfiguration(int ObjectType, int SampleRate, int Channels)
{
    private const int SpectralBandReplication = 5;
    private const int ParametricStereo = 29;

    /// <summary>Table 1.18.</summary>
    private static readonly int[] Rates = [96000, 88200, 64000, 48000, 44100, 32000, 24000, 22050, 16000, 12000, 11025, 8000, 7350];

    /// <summary>Table 1.19: channels of a channel configuration.</summary>
    private static readonly int[] ChannelCounts = [0, 1, 2, 3, 4, 5, 6, 8];

    /// <summary>Reads the decoder's configuration.</summary>
    /// <returns>Null when it is torn.</returns>
    public static AacConfiguration? Read(ReadOnlySpan<byte> configuration)
    {
        var bits = new BitReader(configuration);
        int type = ReadType(ref bits);
        int rate = ReadRate(ref bits);
        int channels = Channel((int)bits.Bits(4));
        if (type is SpectralBandReplication or ParametricStereo)
        {
            // What comes out has the extension's rate; parametric stereo makes two channels of one.
            rate = ReadRate(ref bits);
            channels = type == ParametricStereo ? 2 : channels;
        }

        return bits.IsOver || rate <= 0 ? null : new AacConfiguration(type, rate, channels);
    }

    /// <summary>Reads an ADTS header (ISO/IEC 13818-7 section 6.2), as AAC has in transport streams.</summary>
    /// <returns>Null when it is none.</returns>
    public static AacConfiguration? ReadAdts(ReadOnlySpan<byte> header) =>
        header.Length >= 7 && header[0] == 0xFF && (header[1] & 0xF6) == 0xF0 && ((header[2] >> 2) & 15) is var rate && rate < Rates.Length
            ? new AacConfiguration((header[2] >> 6) + 1, Rates[rate], Channel(((header[2] & 1) << 2) | (header[3] >> 6)))
            : null;

    private static int ReadType(ref BitReader bits)
    {
        int type = (int)bits.Bits(5);
        return type == 31 ? 32 + (int)bits.Bits(6) : type;
    }

    private static int ReadRate(ref BitReader bits)
    {
        int index = (int)bits.Bits(4);
        return index == 15 ? (int)bits.Bits(24) : index < Rates.Length ? Rates[index] : 0;
    }

    private static int Channel(int configuration) => configuration < ChannelCounts.Length ? ChannelCounts[configuration] : 0;
}
