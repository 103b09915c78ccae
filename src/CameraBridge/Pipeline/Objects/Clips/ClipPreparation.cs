using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Pipeline.Objects.Clips;

/// <summary>
/// Makes of a clip in the spool what can go into Pixel Data, by the mildest way that suffices:
/// <code>
/// conforms (table of ClipSyntaxes)             as it is, bit for bit, whatever its size
/// claims too high a level, else conforms       labelled rightly by ffmpeg, pictures unchanged
/// container, fragments, several tracks         into an MP4 file by ffmpeg, pictures unchanged
/// sound                                        compressed anew, or left out by configuration; pictures unchanged
/// codec, profile, depth, shape, rate, turn ...  compressed anew: DERIVED, a second lossy step
/// torn, malformed, no ffmpeg, too long         held, with the reason
/// </code>
/// What ffmpeg made is judged like what a camera made. What the file is, its bytes say; its name says nothing.
/// </summary>
internal sealed class ClipPreparation : IDisposable
{
    /// <summary>A second conversion may be needed where the first only made the clip readable.</summary>
    private const int MostConversions = 3;

    private readonly ClipConfiguration _settings;
    private readonly DerivedFiles _derivedFiles;
    private readonly Ffmpeg? _ffmpeg;
    private readonly bool _mayBeFragmentable;
    private readonly SemaphoreSlim _oneAtATime = new(1);

    /// <param name="settings">What the site wants.</param>
    /// <param name="derivedFiles">Where made files are kept.</param>
    /// <param name="ffmpeg">The program, or null.</param>
    /// <param name="mayBeFragmentable">Every destination takes the fragmentable transfer syntaxes.</param>
    public ClipPreparation(ClipConfiguration settings, DerivedFiles derivedFiles, Ffmpeg? ffmpeg, bool mayBeFragmentable)
    {
        _settings = settings;
        _derivedFiles = derivedFiles;
        _ffmpeg = ffmpeg;
        _mayBeFragmentable = mayBeFragmentable;
    }

    /// <summary>Longest fragment that is made where there are several: 2 GiB, which readers with signed lengths can hold.</summary>
    internal long FragmentLength { get; init; } = 1L << 31;

    /// <summary>Longest single fragment; tests make it shorter.</summary>
    internal long LongestFragment { get; init; } = ClipSyntaxes.LongestFragment;

    /// <summary>Makes the content of a file, or says why it is held.</summary>
    /// <param name="path">The file in the spool, by absolute path.</param>
    /// <param name="cancellation">Ends it early, and whatever program runs for it.</param>
    /// <exception cref="IOException">The file cannot be read.</exception>
    /// <exception cref="Persistence.StateUnavailableException">The spool takes no made file now.</exception>
    /// <exception cref="OperationCanceledException">It was cancelled.</exception>
    public ContentOutcome Prepare(string path, CancellationToken cancellation)
    {
        ClipHeader header = ClipHeader.ReadFile(path, cancellation);
        ClipVerdict verdict = Judge(header);
        if (verdict.Syntax is { } syntax)
        {
            return Contents(path, header, syntax, verdict.Notes, null, []);
        }

        if (verdict.Step == ClipStep.Never)
        {
            return Held(ClipReasons.NotWhole(header));
        }

        if (!_settings.Convert || _ffmpeg is null)
        {
            return Held(_settings.Convert ? ClipReasons.NoProgram(verdict, _settings.Ffmpeg) : ClipReasons.NotAllowed(verdict));
        }

        _oneAtATime.Wait(cancellation);
        try
        {
            return Convert(path, header, verdict, cancellation);
        }
        finally
        {
            _oneAtATime.Release();
        }
    }

    public void Dispose() => _oneAtATime.Dispose();

    private ClipVerdict Judge(ClipHeader header)
    {
        ClipVerdict verdict = ClipJudgement.Judge(header, _settings.LesserProfiles == LesserProfiles.Pass);
        return verdict.Syntax is { } syntax && !ObjectSyntaxes.Takes(syntax)
            ? verdict with { Syntax = null, Obstacles = [TooDeep(syntax)] }
            : verdict;
    }

    private static ClipObstacle TooDeep(ClipSyntax syntax) => new(
        ClipObstacleKind.BitDepth, ClipStep.Picture, FormattableString.Invariant($"The samples have {syntax.BitDepth} bits; 8 are allowed (PS3.3 C.8.12.1.1.2)."));

    private ContentOutcome Convert(string path, ClipHeader header, ClipVerdict verdict, CancellationToken cancellation)
    {
        (string sourcePath, ClipHeader source, ClipVerdict found, ClipHeader known) = (path, header, verdict, header);
        ClipStep atLeast = ClipStep.None;
        for (int i = 0; i < MostConversions; i++)
        {
            var conversion = ClipConversion.Plan(sourcePath, source, found, atLeast, _settings);
            using DerivedFile file = _derivedFiles.Create(header.Length + (header.Length / 8));
            FfmpegResult result = _ffmpeg!.Run([.. conversion.Arguments, "-y", $"file:{file.Path}"], _settings.LongestConversion, cancellation);
            ClipHeader made = result.IsDone ? ClipHeader.ReadFile(file.Path, cancellation) : source;
            ClipVerdict judged = result.IsDone ? Judge(made) : found;
            if (result.IsDone && judged.Syntax is { } syntax)
            {
                if (Lost(known, made, conversion.Step) is { } lost)
                {
                    return Held(lost);
                }

                string kept = file.Keep();
                bool isAnew = conversion.Step == ClipStep.Picture;
                string words = $"{conversion.Words}, by {_ffmpeg.Version}, because: {string.Join(' ', verdict.Obstacles.Select(obstacle => obstacle.Text))}";
                var derivation = new Derivation(Short(words), isAnew ? [new DerivationCode("113040", "DCM", "Lossy Compression")] : [], isAnew);
                return Contents(kept, made, syntax, judged.Notes, derivation, isAnew && StepOf(known) is { } step ? [step] : [], header.RecordedAt);
            }

            if (conversion.Step == ClipStep.Picture)
            {
                return Held(result.IsDone ? ClipReasons.StillUnfit(verdict, judged) : ClipReasons.Failed(verdict, result.Words));
            }

            // A container that was not read before is read now, and shows what else is to be done to the camera's file; or a milder step failed.
            if (result.IsDone && made.Flaw is null && source.Flaw == ClipFlaw.NotRead && judged.Step > conversion.Step)
            {
                (known, found, atLeast) = (made, judged, judged.Step);
                source = Combined(source, made);
            }
            else
            {
                atLeast = result.IsDone && judged.Step is > ClipStep.None and < ClipStep.Never && judged.Step > conversion.Step ? judged.Step : ClipStep.Picture;
                found = result.IsDone && made.Flaw is null ? judged : found;
            }
        }

        return Held(ClipReasons.Failed(verdict, "Its conversions did not lead to a conforming clip."));
    }

    /// <summary>The facts of what was made, in the container of the camera's file, from which the next conversion starts again.</summary>
    private static ClipHeader Combined(ClipHeader source, ClipHeader made)
    {
        made.AsIn(source.Container);
        return made;
    }

    /// <summary>A conversion that lost pictures met damage.</summary>
    private static Reason? Lost(ClipHeader before, ClipHeader after, ClipStep step)
    {
        bool mayDiffer = step == ClipStep.Picture && (!before.Video!.IsConstantRate || before.IsEdited || before.Video.IsInterlaced);
        return before.Video is { Frames: > 0 } video && !mayDiffer && Math.Abs(video.Frames - after.Video!.Frames) > 1 + (video.Frames / 500)
            ? ClipReasons.FramesLost(video.Frames, after.Video.Frames)
            : null;
    }

    private ContentOutcome Contents(
        string path, ClipHeader header, ClipSyntax syntax, IReadOnlyList<string> notes, Derivation? derivation, IReadOnlyList<LossyStep> before, DateTime? recordedAt = null)
    {
        ClipVideo video = header.Video!;
        if (video.Frames > int.MaxValue)
        {
            return Held(ClipReasons.TooManyFrames);
        }

        string TransferSyntaxUID = syntax.TransferSyntaxUID;
        bool isParted = header.Length + (header.Length & 1) > LongestFragment;
        if (isParted && syntax.FragmentableUID is { } fragmentable)
        {
            if (!_mayBeFragmentable)
            {
                return Held(ClipReasons.TooLong(syntax, header.Length));
            }

            TransferSyntaxUID = fragmentable;
        }

        decimal frameTime = decimal.Round(1000m * video.RateDenominator / video.RateNumerator, 6);
        double rate = Math.Round(video.FrameRate);
        return new ContentOutcome.Made(new ClipContent
        {
            Fragments = Fragments(path, header.Length, isParted ? FragmentLength : long.MaxValue),
            TransferSyntaxUID = TransferSyntaxUID,
            Rows = video.Rows,
            Columns = video.Columns,
            SamplesPerPixel = 3,
            BitsAllocated = 8,
            BitsStored = 8,
            PhotometricInterpretation = "YBR_PARTIAL_420",
            StreamLength = header.Length,
            LossySteps = [.. before, new LossyStep(syntax.LossyMethod, RatioOf(video, header.Length))],
            Derivation = derivation,
            Notes = [.. header.Notes, .. notes],
            NumberOfFrames = (int)video.Frames,
            FrameTimeMs = frameTime,
            // 29.97 is told as 30 (PS3.5 Table 8-1), Frame Time tells the rest; 12.5 has no whole number.
            CineRate = rate >= 1 && Math.Abs(video.FrameRate - rate) / rate < 0.002 ? (int)rate : null,
            Duration = video.Duration,
            HasSound = header.Sounds.Count > 0,
            SoundChannels = header.Sounds is [var sound, ..] ? sound.Channels : 0,
            RecordedAt = recordedAt ?? header.RecordedAt,
            IsStereo = syntax.IsStereo,
            PixelAspectRatio = syntax.AllowsAnyPixelShape && video.PixelWidth != video.PixelHeight ? (video.PixelHeight, video.PixelWidth) : null,
        });
    }

    /// <summary>The whole file in one fragment, or in pieces of even length (PS3.5 section A.4); the last is padded.</summary>
    private static List<PixelSource> Fragments(string path, long length, long longest)
    {
        var fragments = new List<PixelSource>();
        for (long at = 0; at < length;)
        {
            long count = Math.Min(longest, length - at);
            PixelSource fragment = PixelSource.FromFile(path, at, count);
            fragments.Add((count & 1) == 0 ? fragment : PixelSource.Concat(fragment, PixelSource.FromBytes(new byte[1])));
            at += count;
        }

        return fragments;
    }

    /// <summary>The camera's own lossy compression; null where DICOM has no name for it.</summary>
    private static LossyStep? StepOf(ClipHeader header)
    {
        string? method = header.Video?.Codec switch
        {
            ClipCodec.H264 => "ISO_14496_10",
            ClipCodec.Hevc => "ISO_23008_2",
            ClipCodec.Mpeg2 => "ISO_13818_2",
            ClipCodec.MotionJpeg => "ISO_10918_1",
            _ => null,
        };
        return method is not null && header.Video is { Frames: > 0, Rows: > 0 } video ? new LossyStep(method, RatioOf(video, header.Length)) : null;
    }

    private static decimal RatioOf(ClipVideo video, long length)
    {
        decimal ratio = (decimal)video.Rows * video.Columns * 3 * Math.Max(8, video.BitDepth) / 8 * video.Frames / length;
        return Math.Max(0.001m, decimal.Round(ratio, 3));
    }

    /// <summary>Derivation Description is an ST of 1024 characters (PS3.5 Table 6.2-1).</summary>
    private static string Short(string words)
    {
        const int longest = 1024;
        return words.Length <= longest ? words : string.Create(CultureInfo.InvariantCulture, $"{words[..(longest - 3)]}...");
    }

    private static ContentOutcome.Held Held(Reason reason) => new(reason);
}
