using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>What only a clip has: Cine and Multi-frame (PS3.3 sections C.7.6.5 and C.7.6.6, edition 2025e), by what its stream says.</summary>
internal static class ClipMapping
{
    private const int FrameTimePointer = 0x00181063;

    public static void Map(DataSet target, ClipContent clip)
    {
        target.SetInt(Tags.NumberOfFrames, [clip.NumberOfFrames]);
        target.SetInt(Tags.FrameIncrementPointer, [FrameTimePointer]);
        target.Set(Tags.FrameTime, Decimal(clip.FrameTimeMs));
        if (clip.CineRate is { } rate)
        {
            target.SetInt(Tags.CineRate, [rate]);
            target.SetInt(Tags.RecommendedDisplayFrameRate, [rate]);
        }

        if (clip.IsStereo)
        {
            target.Set(Tags.StereoPairsPresent, "YES");
        }

        if (clip.PixelAspectRatio is var (vertical, horizontal))
        {
            target.SetInt(Tags.PixelAspectRatio, [vertical, horizontal]);
        }

        target.Set(Tags.EffectiveDuration, Decimal((decimal)clip.Duration.TotalSeconds));
        if (clip.HasSound)
        {
            // Type 2C. The standard lets it be empty; dciodvfy does not, and the channels are known.
            target.SetItems(Tags.MultiplexedAudioChannelsDescriptionCodeSequence, Channel(clip.SoundChannels));
        }
    }

    /// <summary>The main channel. A camera's microphone hears the room (PS3.16 CID 3000).</summary>
    private static DataSet Channel(int channels)
    {
        var item = new DataSet();
        item.SetInt(Tags.ChannelIdentificationCode, [1]);
        item.Set(Tags.ChannelMode, channels == 1 ? "MONO" : "STEREO");
        item.SetItems(Tags.ChannelSourceSequence, new Code("109112", Code.Dicom, "Ambient room environment").ToItem());
        return item;
    }

    /// <summary>A DS has 16 characters (PS3.5 Table 6.2-1).</summary>
    private static string Decimal(decimal number) => number.ToString("0.######", CultureInfo.InvariantCulture);
}
