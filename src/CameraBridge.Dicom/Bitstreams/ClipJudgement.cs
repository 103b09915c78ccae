namespace CameraBridge.Dicom.Bitstreams;

/// <summary>What has to be done to a clip, mildest first. A later step includes the earlier ones.</summary>
public enum ClipStep
{
    /// <summary>Nothing: it goes in bit for bit.</summary>
    None,

    /// <summary>The level that the bit stream claims is put right; no picture changes.</summary>
    Label,

    /// <summary>Pictures and sound go into another container; neither changes.</summary>
    Container,

    /// <summary>The sound is compressed anew or left out; no picture changes.</summary>
    Sound,

    /// <summary>The pictures are compressed anew.</summary>
    Picture,

    /// <summary>Nothing helps.</summary>
    Never,
}

/// <summary>Why a clip does not conform.</summary>
public enum ClipObstacleKind
{
    /// <summary>The file is not whole; see <see cref="ClipHeader.Flaw"/>.</summary>
    NotWhole,

    /// <summary>A container that is not read here.</summary>
    NotRead,

    /// <summary>A container that no transfer syntax takes.</summary>
    Container,

    /// <summary>The index is in pieces between the pictures.</summary>
    Fragmented,

    /// <summary>Several tracks of pictures.</summary>
    Tracks,

    /// <summary>A compression that no transfer syntax takes.</summary>
    Codec,

    /// <summary>A profile that no transfer syntax takes.</summary>
    Profile,

    /// <summary>A level above every transfer syntax.</summary>
    Level,

    /// <summary>Size, rate or bit rate above every transfer syntax.</summary>
    TooLarge,

    /// <summary>Colour is sampled otherwise than 4:2:0.</summary>
    Sampling,

    /// <summary>Bits of a sample.</summary>
    BitDepth,

    /// <summary>Samples use the full range.</summary>
    FullRange,

    /// <summary>Pixels are not square.</summary>
    PixelShape,

    /// <summary>Pictures follow each other unevenly.</summary>
    VariableRate,

    /// <summary>The rate is not told.</summary>
    RateUnknown,

    /// <summary>A player has to turn the pictures.</summary>
    Rotation,

    /// <summary>A player has to leave pictures out.</summary>
    Edited,

    /// <summary>A size or rate that the transfer syntax does not list.</summary>
    Format,

    /// <summary>Sound that no transfer syntax takes.</summary>
    Sound,
}

/// <summary>One reason why a clip does not conform, with the mildest step that mends it.</summary>
/// <param name="Kind">Which.</param>
/// <param name="Step">What mends it.</param>
/// <param name="Text">A sentence without patient data.</param>
public sealed record ClipObstacle(ClipObstacleKind Kind, ClipStep Step, string Text);

/// <summary>What came of judging a clip.</summary>
/// <param name="Syntax">The transfer syntax that takes it as it is; null when there are obstacles.</param>
/// <param name="Obstacles">Why none takes it.</param>
/// <param name="Notes">What was let pass.</param>
public sealed record ClipVerdict(ClipSyntax? Syntax, IReadOnlyList<ClipObstacle> Obstacles, IReadOnlyList<string> Notes)
{
    /// <summary>The step that mends every obstacle.</summary>
    public ClipStep Step => Obstacles.Count == 0 ? ClipStep.None : Obstacles.Max(obstacle => obstacle.Step);
}

/// <summary>Lays what a clip says of itself beside <see cref="ClipSyntaxes"/>.</summary>
public static class ClipJudgement
{
    private const int HighProfile = 100;
    private const int MainProfile = 77;
    private const int BaselineProfile = 66;

    /// <summary>Judges a clip.</summary>
    /// <param name="header">What it says of itself.</param>
    /// <param name="acceptsLesserProfiles">
    /// H.264 Main and Constrained Baseline pass as High: every decoder of High plays them (ISO/IEC 14496-10 section A.2.4, from memory), and they are common in the
    /// field; PS3.5 section 8.2.7 names High only.
    /// </param>
    public static ClipVerdict Judge(ClipHeader header, bool acceptsLesserProfiles)
    {
        ArgumentNullException.ThrowIfNull(header);
        var judging = new Judging(header, acceptsLesserProfiles);
        ClipSyntax? syntax = judging.Run();
        return new ClipVerdict(judging.Obstacles.Count == 0 ? syntax : null, judging.Obstacles, judging.Notes);
    }

    private sealed class Judging(ClipHeader header, bool acceptsLesserProfiles)
    {
        public List<ClipObstacle> Obstacles { get; } = [];

        public List<string> Notes { get; } = [];

        public ClipSyntax? Run()
        {
            if (header.Flaw is { } flaw)
            {
                bool mayBeReadByOthers = flaw == ClipFlaw.NotRead && header.Container != ClipContainer.Unknown;
                AddText(
                    flaw == ClipFlaw.NotRead ? ClipObstacleKind.NotRead : ClipObstacleKind.NotWhole, mayBeReadByOthers ? ClipStep.Container : ClipStep.Never, header.FlawText);
                return null;
            }

            ClipVideo video = header.Video!;
            JudgeContainer(video);
            JudgePresentation(video);
            ClipSyntax? syntax = video.Codec switch
            {
                ClipCodec.H264 => JudgeH264(video),
                ClipCodec.Hevc => JudgeHevc(video),
                ClipCodec.Mpeg2 => JudgeMpeg2(video),
                _ => Unknown(video),
            };
            SoundRules.Judge(header, AddText);
            return syntax;
        }

        private void Add(ClipObstacleKind kind, ClipStep step, FormattableString text) => Obstacles.Add(new ClipObstacle(kind, step, FormattableString.Invariant(text)));

        private void AddText(ClipObstacleKind kind, ClipStep step, string text) => Obstacles.Add(new ClipObstacle(kind, step, text));

        private ClipSyntax? Unknown(ClipVideo video)
        {
            string name = video.Codec switch { ClipCodec.MotionJpeg => "Motion JPEG", ClipCodec.Mpeg1 => "MPEG-1", _ => $"'{video.Name}'" };
            Add(ClipObstacleKind.Codec, ClipStep.Picture, $"The pictures are compressed as {name}, which no transfer syntax for moving pictures takes.");
            return null;
        }

        private void JudgeContainer(ClipVideo video)
        {
            string? name = header.Container switch
            {
                ClipContainer.Mp4 or ClipContainer.TransportStream => null,
                ClipContainer.QuickTime => "QuickTime (MOV)",
                ClipContainer.TimedTransportStream => "a transport stream with times between its packets (M2TS)",
                ClipContainer.ProgramStream => "an MPEG program stream",
                ClipContainer.Elementary => "a bare stream",
                _ => header.Container.ToString().ToUpperInvariant(),
            };
            if (name is not null)
            {
                Add(ClipObstacleKind.Container, ClipStep.Container, $"The container is {name}; MP4 and MPEG-2 transport streams are allowed (PS3.5 8.2.5 to 8.2.11).");
            }

            if (header.IsFragmented)
            {
                AddText(ClipObstacleKind.Fragmented, ClipStep.Container, "The MP4 file's index is in fragments between the pictures, which few viewers of archives read (common practice, no source).");
            }

            if (header.VideoTracks > 1)
            {
                Add(ClipObstacleKind.Tracks, ClipStep.Container, $"The file has {header.VideoTracks} tracks of pictures; an object has one.");
            }

            if (header.OtherTracks > 0)
            {
                Notes.Add("The file has tracks besides pictures and sound; they stay in it.");
            }

            if (video.Codec is ClipCodec.H264 or ClipCodec.Hevc && video.Profile == 0)
            {
                AddText(ClipObstacleKind.Container, ClipStep.Container, "What the pictures' parameters are cannot be read in this container.");
            }
        }

        private void JudgePresentation(ClipVideo video)
        {
            if (header.Rotation != 0)
            {
                AddText(ClipObstacleKind.Rotation, ClipStep.Picture, header.Rotation > 0
                    ? FormattableString.Invariant($"A player turns the pictures by {header.Rotation} degrees, which no viewer of archives knows of.")
                    : "A player mirrors, scales or slants the pictures, which no viewer of archives knows of.");
            }

            if (header.IsEdited)
            {
                AddText(ClipObstacleKind.Edited, ClipStep.Picture, "An edit list leaves pictures out, so that viewers would not agree on which picture is which.");
            }

            if (video.RateNumerator <= 0)
            {
                AddText(ClipObstacleKind.RateUnknown, ClipStep.Container, "The file does not tell how fast its pictures follow each other.");
            }
            else if (!video.IsConstantRate)
            {
                Add(ClipObstacleKind.VariableRate, ClipStep.Picture, $"The pictures follow each other unevenly ({video.FrameRate:0.##} a second on average), and Frame Time is one for all.");
            }

            if (video.IsFullRange)
            {
                AddText(ClipObstacleKind.FullRange, ClipStep.Picture, "The samples use the full range of values; YBR_PARTIAL_420 does not (PS3.3 C.7.6.3.1.2).");
            }
        }

        private void JudgeSamples(ClipVideo video, int bitDepth)
        {
            if (video.ChromaFormat is not (1 or -1))
            {
                Add(ClipObstacleKind.Sampling, ClipStep.Picture, $"Colour is sampled {(video.ChromaFormat switch { 0 => "not at all", 2 => "4:2:2", _ => "4:4:4" })}; 4:2:0 is allowed.");
            }

            if (video.BitDepth != bitDepth && video.BitDepth > 0)
            {
                Add(ClipObstacleKind.BitDepth, ClipStep.Picture, $"The samples have {video.BitDepth} bits; {bitDepth} are allowed.");
            }
        }

        private void JudgeShape(ClipVideo video)
        {
            if (video.PixelWidth != video.PixelHeight)
            {
                Add(ClipObstacleKind.PixelShape, ClipStep.Picture, $"The pixels are not square ({video.PixelWidth}:{video.PixelHeight}).");
            }
        }

        private ClipSyntax? JudgeH264(ClipVideo video)
        {
            if (video.Profile == 0)
            {
                return null;
            }

            JudgeSamples(video, 8);
            JudgeShape(video);
            int profile = video.Profile;
            if (profile == MainProfile || (profile == BaselineProfile && video.ProfileName == "Constrained Baseline"))
            {
                if (acceptsLesserProfiles)
                {
                    Notes.Add($"The pictures are of H.264 {video.ProfileName} profile, which passes as High by configuration.");
                    profile = HighProfile;
                }
            }

            List<ClipSyntax> rows = [.. ClipSyntaxes.All.Where(row => row.Codec == ClipCodec.H264 && row.Profile == profile && row.IsStereo == video.IsStereo)];
            if (rows.Count == 0)
            {
                Add(ClipObstacleKind.Profile, ClipStep.Picture, $"The pictures are of H.264 {video.ProfileName} profile; High is allowed (PS3.5 8.2.7).");
                rows = [.. ClipSyntaxes.All.Where(row => row.Codec == ClipCodec.H264 && row.Profile == HighProfile && !row.IsStereo)];
            }

            return JudgeLevel(video, rows, mayBeRelabelled: true);
        }

        private ClipSyntax? JudgeHevc(ClipVideo video)
        {
            if (video.Profile == 0)
            {
                return null;
            }

            int depth = video.BitDepth == 10 ? 10 : 8;
            JudgeSamples(video, depth);
            JudgeShape(video);
            if (video.IsHighTier)
            {
                AddText(ClipObstacleKind.Level, ClipStep.Picture, "The pictures are of HEVC's High tier; the Main tier is allowed (PS3.5 8.2.10).");
            }

            if (video.IsStereo)
            {
                Notes.Add("The frames are packed in pairs, which no HEVC transfer syntax tells.");
            }

            if (!video.IsMainCompatible)
            {
                Add(ClipObstacleKind.Profile, ClipStep.Picture, $"The pictures are of HEVC {video.ProfileName} profile; Main and Main 10 are allowed (PS3.5 8.2.10, 8.2.11).");
            }

            return JudgeLevel(video, [.. ClipSyntaxes.All.Where(row => row.Codec == ClipCodec.Hevc && row.BitDepth == depth)], mayBeRelabelled: false);
        }

        /// <summary>The first row that holds the level that is claimed and the one that size and rate need.</summary>
        private ClipSyntax? JudgeLevel(ClipVideo video, List<ClipSyntax> rows, bool mayBeRelabelled)
        {
            double sampleRate = video.CodedSamples * video.FrameRate;
            bool Holds(ClipSyntax row) => video.CodedSamples <= row.PictureSamples && sampleRate <= row.SampleRate * 1.0001 && video.BitRate <= row.BitRate;
            ClipSyntax? needed = rows.FirstOrDefault(Holds);
            ClipSyntax? chosen = rows.FirstOrDefault(row => video.Level <= row.Level && Holds(row));
            if (needed is null)
            {
                Add(
                    ClipObstacleKind.TooLarge, ClipStep.Picture,
                    $"{video.Columns} by {video.Rows} pixels, {video.FrameRate:0.##} a second at {video.BitRate / 1e6:0.#} Mbit/s are more than {rows[^1].Name} holds ({rows[^1].Section}).");
            }
            else if (chosen is null)
            {
                // A level is a promise to decoders about sizes, rates and memory; a promise that is too high can be put right where the rest is known to fit.
                bool fits = mayBeRelabelled && video.ReferencePictures * video.CodedSamples <= needed.ReferenceSamples && video.BitRate > 0 && video.BitRate <= needed.BitRate / 2;
                Add(
                    ClipObstacleKind.Level, fits ? ClipStep.Label : ClipStep.Picture,
                    $"The bit stream claims level {video.Level / 10.0:0.0}; {rows[^1].Level / 10.0:0.0} is the highest allowed ({rows[^1].Section}){(fits ? ", and would do for it" : "")}.");
            }
            else if (chosen != rows[0] && video.Level <= rows[0].Level)
            {
                Notes.Add(FormattableString.Invariant($"The bit stream claims level {video.Level / 10.0:0.0}, and its size and rate need level {chosen.Level / 10.0:0.0}."));
            }

            return chosen;
        }

        private ClipSyntax? JudgeMpeg2(ClipVideo video)
        {
            JudgeSamples(video, 8);
            ClipSyntax? row = ClipSyntaxes.All.FirstOrDefault(row => row.Codec == ClipCodec.Mpeg2 && row.Profile == video.Profile && row.Level == video.Level);
            if (row is null)
            {
                Add(
                    ClipObstacleKind.Profile, ClipStep.Picture,
                    $"The pictures are of MPEG-2 {video.ProfileName} profile, level code {video.Level}; Main Profile at Main or High Level is allowed (PS3.5 8.2.5, 8.2.6).");
                return null;
            }

            if (!row.AllowsAnyPixelShape)
            {
                JudgeShape(video);
            }

            bool isListed = row.Formats.Any(format =>
                (format.IsExact ? video.Columns == format.Columns && video.Rows == format.Rows : video.Columns <= format.Columns && video.Rows <= format.Rows)
                && (video.IsInterlaced ? format.Rates : format.ProgressiveRates).Any(rate => Math.Abs(video.FrameRate - rate) < rate * 0.0005));
            if (!isListed)
            {
                Add(ClipObstacleKind.Format, ClipStep.Picture, $"{video.Columns} by {video.Rows} pixels, {video.FrameRate:0.##} a second are not among the formats of {row.Name} ({row.Section}).");
            }

            if (video.BitRate > row.BitRate)
            {
                Add(ClipObstacleKind.TooLarge, ClipStep.Picture, $"{video.BitRate / 1e6:0.#} Mbit/s are more than {row.Name} holds.");
            }

            return row;
        }
    }

    /// <summary>The sound against PS3.5 section 8.2.5 (MPEG-2) and section 8.2.12 (the others).</summary>
    private static class SoundRules
    {
        public static void Judge(ClipHeader header, Action<ClipObstacleKind, ClipStep, string> add)
        {
            bool isStream = header.Container is ClipContainer.TransportStream or ClipContainer.TimedTransportStream or ClipContainer.ProgramStream;
            foreach (ClipSound sound in header.Sounds)
            {
                if (Flaw(sound, header.Video!.Codec == ClipCodec.Mpeg2, isStream) is { } flaw)
                {
                    add(ClipObstacleKind.Sound, ClipStep.Sound, flaw);
                    return;
                }
            }
        }

        private static string? Flaw(ClipSound sound, bool isMpeg2, bool isStream)
        {
            string what = FormattableString.Invariant($"{sound.SampleRate / 1000.0:0.###} kHz, {sound.Channels} {(sound.Channels == 1 ? "channel" : "channels")}");
            switch (sound.Codec)
            {
                case SoundCodec.Mp3 when sound.SampleRate is 32000 or 44100 or 48000 && sound.Channels is 1 or 2:
                case SoundCodec.MpegLayer2 when !isMpeg2 && sound.SampleRate is 32000 or 44100 or 48000 && sound.Channels is 1 or 2:
                case SoundCodec.Aac when !isMpeg2 && sound is { SampleRate: 48000, Channels: 2 or 6 }:
                case SoundCodec.Ac3 when !isMpeg2 && isStream && sound.SampleRate == 48000:
                    return null;
                case SoundCodec.Aac when !isMpeg2:
                    return $"The sound is AAC of {what}; 48 kHz with 2 or 5.1 channels is allowed (PS3.5 8.2.12).";
                default:
                    return $"The sound ({(sound.Codec == SoundCodec.Other ? $"'{sound.Name}'" : sound.Codec.ToString().ToUpperInvariant())}, {what}) is none that goes with these pictures in this container (PS3.5 {(isMpeg2 ? "8.2.5" : "8.2.12")}).";
            }
        }
    }
}
