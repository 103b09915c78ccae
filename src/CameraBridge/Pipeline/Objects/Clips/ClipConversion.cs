using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;

namespace CameraBridge.Pipeline.Objects.Clips;

/// <summary>A way to mend a clip's obstacles: ffmpeg's arguments, and what to say of it.</summary>
/// <param name="Step">The step.</param>
/// <param name="Arguments">From the input to before the output's path.</param>
/// <param name="Words">For Derivation Description, without the program.</param>
/// <param name="TargetFormat">ffmpeg's name of the container.</param>
internal sealed record ClipConversion(ClipStep Step, IReadOnlyList<string> Arguments, string Words, string TargetFormat)
{
    private const string Mp4 = "mp4";
    private const string TransportStream = "mpegts";
    private const long Macroblock = 256;
    private const int Level41Macroblocks = 8192, Level42Macroblocks = 8704;
    private const double Level41MacroblockRate = 245_760, Level42MacroblockRate = 522_240;
    private static readonly (int Numerator, int Denominator)[] EvenRates = [(24000, 1001), (24, 1), (25, 1), (30000, 1001), (30, 1), (50, 1), (60000, 1001), (60, 1)];

    /// <summary>The mildest conversion that mends what was found, or that at least a step.</summary>
    /// <param name="path">The clip.</param>
    /// <param name="header">What it says of itself.</param>
    /// <param name="verdict">What was found.</param>
    /// <param name="atLeast">A milder step was tried and did not suffice.</param>
    /// <param name="settings">What the site wants.</param>
    public static ClipConversion Plan(string path, ClipHeader header, ClipVerdict verdict, ClipStep atLeast, ClipConfiguration settings)
    {
        ClipStep step = (ClipStep)Math.Max((int)verdict.Step, (int)atLeast);
        bool isSoundUnfit = verdict.Obstacles.Any(obstacle => obstacle.Kind == ClipObstacleKind.Sound) || (step == ClipStep.Picture && header.Video is null);
        bool isMpeg2 = step < ClipStep.Picture && header.Video?.Codec == ClipCodec.Mpeg2;
        List<string> arguments = ["-protocol_whitelist", "file,pipe", "-fflags", "+bitexact", .. Demuxer(header), "-i", $"file:{path}", "-map", "0:v:0"];
        var words = new List<string>();
        bool hasSound = header.Sounds.Count > 0 || header.Flaw is not null;
        if (hasSound && !(isSoundUnfit && settings.UnfitSound == UnfitSound.Drop))
        {
            arguments.AddRange(["-map", "0:a:0?"]);
        }

        arguments.AddRange(["-sn", "-dn", "-map_metadata", "-1", "-map_chapters", "-1"]);
        if (step == ClipStep.Picture)
        {
            arguments.AddRange(PictureArguments(header, words));
        }
        else
        {
            arguments.AddRange(["-c:v", "copy"]);
            AddLabel(header, verdict, arguments, words);
            words.Add($"put unchanged into {(isMpeg2 ? "an MPEG-2 transport stream" : "an MP4 file")}");
        }

        AddSound(header, hasSound, isSoundUnfit, isMpeg2, settings, arguments, words);
        string format = isMpeg2 ? TransportStream : Mp4;
        arguments.AddRange(["-fflags", "+bitexact", "-flags:v", "+bitexact", "-flags:a", "+bitexact"]);
        arguments.AddRange(format == Mp4 ? ["-movflags", "+faststart", "-f", format] : ["-f", format]);
        return new ClipConversion(step, arguments, $"The camera's moving pictures were {string.Join(", ", words)}", format);
    }

    /// <summary>The container is said and not guessed, since guessing would open scripts and lists of addresses.</summary>
    private static string[] Demuxer(ClipHeader header) => header.Container switch
    {
        ClipContainer.Mp4 or ClipContainer.QuickTime => ["-f", "mov"],
        ClipContainer.TransportStream or ClipContainer.TimedTransportStream => ["-f", "mpegts"],
        ClipContainer.ProgramStream => ["-f", "mpeg"],
        ClipContainer.Avi => ["-f", "avi"],
        ClipContainer.Matroska => ["-f", "matroska"],
        ClipContainer.Asf => ["-f", "asf"],
        _ => header.Video?.Codec switch
        {
            ClipCodec.Hevc => ["-f", "hevc", .. Rate(header)],
            ClipCodec.Mpeg2 or ClipCodec.Mpeg1 => ["-f", "mpegvideo", .. Rate(header)],
            _ => ["-f", "h264", .. Rate(header)],
        },
    };

    private static string[] Rate(ClipHeader header) => header.Video is { RateNumerator: > 0 } video
        ? ["-framerate", string.Create(CultureInfo.InvariantCulture, $"{video.RateNumerator}/{video.RateDenominator}")]
        : [];

    private static void AddLabel(ClipHeader header, ClipVerdict verdict, List<string> arguments, List<string> words)
    {
        if (verdict.Obstacles.Any(obstacle => obstacle is { Kind: ClipObstacleKind.Level, Step: ClipStep.Label }) && header.Video is { } video)
        {
            string level = LevelOf(video.CodedSamples / Macroblock, video.FrameRate) ?? "4.2";
            arguments.AddRange(["-bsf:v", $"h264_metadata=level={level}"]);
            words.Add($"labelled with level {level}, which their size, rate and references keep");
        }
    }

    private static void AddSound(
        ClipHeader header, bool hasSound, bool isUnfit, bool isMpeg2, ClipConfiguration settings, List<string> arguments, List<string> words)
    {
        if (!hasSound)
        {
            return;
        }

        if (!isUnfit)
        {
            arguments.AddRange(["-c:a", "copy"]);
            return;
        }

        if (settings.UnfitSound == UnfitSound.Drop)
        {
            words.Add("without the sound, which no transfer syntax takes, by configuration");
            return;
        }

        int channels = header.Sounds is [{ Channels: 6 }, ..] && !isMpeg2 ? 6 : 2;
        arguments.AddRange(isMpeg2
            ? ["-c:a", "libmp3lame", "-b:a", "192k", "-ar", "48000", "-ac", "2"]
            : ["-c:a", "aac", "-b:a", channels == 6 ? "384k" : "160k", "-ar", "48000", "-ac", channels.ToString(CultureInfo.InvariantCulture)]);
        words.Add(isMpeg2 ? "with the sound compressed anew as MP3 of 48 kHz" : "with the sound compressed anew as AAC of 48 kHz");
    }

    /// <summary>H.264 High at the level that suffices, at a loss too small to see; HEVC for what is larger than that.</summary>
    private static List<string> PictureArguments(ClipHeader header, List<string> words)
    {
        ClipVideo video = header.Video ?? new ClipVideo();
        bool isTurned = header.Rotation is 90 or 270;
        double width = video.Columns * (double)video.PixelWidth / Math.Max(1, video.PixelHeight);
        (double columns, double rows) = isTurned ? ((double)video.Rows, width) : (width, video.Rows);
        var filters = new List<string>();
        if (video.PixelWidth != video.PixelHeight)
        {
            filters.Add("scale=w='trunc(iw*sar/2+0.5)*2':h='trunc(ih/2)*2':flags=lanczos,setsar=1");
            words.Add("made of square pixels");
        }
        else
        {
            filters.Add("crop=w='trunc(iw/2)*2':h='trunc(ih/2)*2':x=0:y=0:exact=1,setsar=1");
        }

        if (header.Rotation != 0)
        {
            words.Add("turned upright as the file says");
        }

        double rate = video.FrameRate;
        if (!video.IsConstantRate || rate <= 0)
        {
            (int numerator, int denominator) = EvenRates.FirstOrDefault(even => (double)even.Numerator / even.Denominator >= rate * 0.985);
            (numerator, denominator) = numerator == 0 ? (60, 1) : (numerator, denominator);
            rate = (double)numerator / denominator;
            filters.Add(string.Create(CultureInfo.InvariantCulture, $"fps={numerator}/{denominator}"));
            words.Add(string.Create(CultureInfo.InvariantCulture, $"put on an even rate of {rate:0.##} pictures a second"));
        }

        filters.Add("scale=out_range=tv,format=yuv420p");
        List<string> arguments = ["-vf", string.Join(',', filters)];
        long macroblocks = (long)(Math.Ceiling(columns / 16) * Math.Ceiling(rows / 16));
        if (LevelOf(macroblocks, rate) is { } level)
        {
            arguments.AddRange(["-c:v", "libx264", "-preset", "medium", "-crf", "17", "-profile:v", "high", "-level:v", level, "-maxrate", "50M", "-bufsize", "62M", "-g", "60"]);
            if (video.IsInterlaced)
            {
                arguments.AddRange(["-flags:v", "+ilme+ildct"]);
            }

            words.Add($"compressed anew as H.264 High Profile at Level {level}");
        }
        else
        {
            arguments.AddRange(
                ["-c:v", "libx265", "-preset", "fast", "-crf", "18", "-profile:v", "main", "-tag:v", "hvc1", "-x265-params", "log-level=error:level-idc=5.1:high-tier=0:keyint=60"]);
            words.Add("compressed anew as HEVC Main Profile at Level 5.1");
        }

        arguments.AddRange(["-color_range", "tv"]);
        return arguments;
    }

    /// <summary>The level of H.264 that holds a picture of so many macroblocks (ISO/IEC 14496-10 Table A-1, from memory); null above 4.2.</summary>
    private static string? LevelOf(long macroblocks, double rate) =>
        macroblocks <= Level41Macroblocks && macroblocks * rate <= Level41MacroblockRate ? "4.1"
        : macroblocks <= Level42Macroblocks && macroblocks * rate <= Level42MacroblockRate ? "4.2"
        : null;
}
