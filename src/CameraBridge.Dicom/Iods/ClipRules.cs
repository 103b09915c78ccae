using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>A video bit stream against the transfer syntax and the attributes of the clip (PS3.5 sections 8.2.5 to 8.2.12, edition 2025e).</summary>
internal static class ClipRules
{
    private const string VideoSyntaxes = "1.2.840.10008.1.2.4.10";
    private const string Frames = "PS3.3 C.7.6.5", Pixels = "PS3.3 C.7.6.3";

    public static bool IsVideo(string TransferSyntaxUID) => TransferSyntaxUID.StartsWith(VideoSyntaxes, StringComparison.Ordinal);

    public static void Check(DataSet dataSet, string TransferSyntaxUID, EncapsulatedPixels pixels, FindingList findings)
    {
        CheckFragments(dataSet, TransferSyntaxUID, pixels, findings);
        ClipHeader header = ClipHeader.Read(pixels.Fragments.Count == 1 ? pixels.Fragments[0] : PixelSource.Concat(pixels.Fragments));
        if (header.Video is not { } video || header.Flaw is ClipFlaw.NotRead or ClipFlaw.NoPictures)
        {
            findings.Add(Severity.Error, "video.none", null, "PixelData", "PS3.5 8.2.5", Words(header.FlawText, "no moving pictures"), "a video bit stream of the transfer syntax");
            return;
        }

        if (header.Flaw is not null)
        {
            findings.Add(Severity.Error, "video.torn", null, "PixelData", "PS3.5 8.2.5", header.FlawText, "a whole bit stream");
        }

        ClipFit.Of(TransferSyntaxUID, findings)?.Check(header, video);
        CheckNumbers(dataSet, video, findings);
        CheckTime(dataSet, video, findings);
        CheckSound(dataSet, header, findings);
        if (header.Rotation != 0 || header.IsEdited)
        {
            findings.Add(
                Severity.Warning, "video.turned", null, "PixelData", "PS3.5 8.2.5", header.Rotation != 0 ? "the container turns the pictures" : "the container shows a part of the pictures",
                "pictures that are shown as they are encoded, since readers of DICOM look at the bit stream");
        }
    }

    private static void CheckFragments(DataSet dataSet, string TransferSyntaxUID, EncapsulatedPixels pixels, FindingList findings)
    {
        if (pixels.OffsetTable.Length > 0)
        {
            findings.Add(Severity.Error, "video.offsets", null, "PixelData", "PS3.5 8.2.5", $"an offset table of {pixels.OffsetTable.Length} bytes", "an empty one");
        }

        // .100 to .106 hold the whole stream in one fragment; the fragmentable ones and HEVC may part it.
        if (pixels.Fragments.Count > 1 && TransferSyntaxUID is TransferSyntaxes.MPEG2MPML or TransferSyntaxes.MPEG2MPHL or TransferSyntaxes.MPEG4HP41
            or TransferSyntaxes.MPEG4HP41BD or TransferSyntaxes.MPEG4HP422D or TransferSyntaxes.MPEG4HP423D or TransferSyntaxes.MPEG4HP42STEREO)
        {
            findings.Add(Severity.Error, "video.fragments", null, "PixelData", "PS3.5 8.2.5", $"{pixels.Fragments.Count} fragments", "one fragment with the whole bit stream");
        }

        if (!TransferSyntaxUID.StartsWith(TransferSyntaxes.MPEG2MPML, StringComparison.Ordinal) && dataSet.Contains(Tags.PixelAspectRatio))
        {
            findings.Add(Severity.Error, "video.aspect", null, "PixelAspectRatio", "PS3.5 8.2.6", "it is present", "absent: the pixels of this transfer syntax are square");
        }
    }

    // On conflict the stream is right (PS3.5 section 8.2.5).
    private static void CheckNumbers(DataSet dataSet, ClipVideo video, FindingList findings)
    {
        CheckNumber(dataSet, Tags.Rows, "Rows", video.Rows, Pixels, findings);
        CheckNumber(dataSet, Tags.Columns, "Columns", video.Columns, Pixels, findings);
        CheckNumber(dataSet, Tags.BitsStored, "BitsStored", video.BitDepth, Pixels, findings);
        CheckNumber(dataSet, Tags.NumberOfFrames, "NumberOfFrames", video.Frames, "PS3.3 C.7.6.6", findings);
    }

    private static void CheckNumber(DataSet dataSet, Tag tag, string keyword, long inStream, string section, FindingList findings)
    {
        if (inStream > 0 && dataSet.GetInt64(tag) is { } told && told != inStream)
        {
            findings.Add(Severity.Error, "stream.differs", null, keyword, section, $"{told}", $"{inStream}, as in the bit stream");
        }
    }

    private static void CheckTime(DataSet dataSet, ClipVideo video, FindingList findings)
    {
        if (video.FrameRate <= 0)
        {
            return;
        }

        // Frame Time is a decimal number in milliseconds: 33.37 for 29.97 frames a second is near enough, 33 is not.
        const double tolerance = 0.002;
        double right = 1000 / video.FrameRate;
        if (dataSet.GetDouble(Tags.FrameTime) is { } time && Math.Abs(time - right) > right * tolerance && video.Frames > 1)
        {
            findings.Add(Severity.Error, "stream.differs", null, "FrameTime", Frames, FormattableString.Invariant($"{time}"), FormattableString.Invariant($"{right:0.###}, as in the bit stream"));
        }

        if (dataSet.GetInt32(Tags.CineRate) is { } rate && Math.Abs(rate - video.FrameRate) > 1)
        {
            findings.Add(Severity.Error, "stream.differs", null, "CineRate", Frames, $"{rate}", FormattableString.Invariant($"about {video.FrameRate:0.##}, as in the bit stream"));
        }

        if (!video.IsConstantRate && dataSet.Contains(Tags.FrameTime))
        {
            findings.Add(
                Severity.Error, "video.rate", null, "FrameTime", Frames, "one time for frames that do not follow each other in even steps", "a bit stream of constant rate, or Frame Time Vector");
        }
    }

    // PS3.3 section C.7.6.5: the sequence is of type 2C, required when the stream has sound. PS3.5 section 8.2.12: which sound it may be.
    private static void CheckSound(DataSet dataSet, ClipHeader header, FindingList findings)
    {
        const string keyword = "MultiplexedAudioChannelsDescriptionCodeSequence";
        if (header.Sounds.Count > 0 && !dataSet.Contains(Tags.MultiplexedAudioChannelsDescriptionCodeSequence))
        {
            findings.Add(Severity.Error, "type2C.missing", null, keyword, Frames, "it is absent, and the bit stream has sound", "present, empty if unknown");
        }
        else if (header.Sounds.Count == 0 && dataSet[Tags.MultiplexedAudioChannelsDescriptionCodeSequence] is { Items.Count: > 0 })
        {
            findings.Add(Severity.Error, "stream.differs", null, keyword, Frames, "channels of sound", "none, as in the bit stream");
        }

        foreach (ClipSound sound in header.Sounds)
        {
            bool isMp4 = header.Container == ClipContainer.Mp4;
            bool fits = sound.Codec switch
            {
                SoundCodec.Aac => sound is { SampleRate: 48_000, Channels: 2 or 6 } or { SampleRate: 0 },
                SoundCodec.Mp3 or SoundCodec.MpegLayer2 => true,
                SoundCodec.Ac3 or SoundCodec.Pcm => !isMp4,
                _ => false,
            };
            if (!fits)
            {
                findings.Add(
                    Severity.Error, "video.sound", null, "PixelData", "PS3.5 8.2.12", $"sound of {sound.Name}, {sound.SampleRate} Hz, {sound.Channels} channels",
                    isMp4 ? "AAC of 48 kHz and 2 or 5.1 channels, MP3 or MPEG-1 Layer II" : "a sound of Table 8.2.12-1");
            }
        }
    }

    private static string Words(string text, string otherwise) => text.Length > 0 ? text : otherwise;
}
