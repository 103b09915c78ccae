using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>How the pictures of a clip are compressed.</summary>
public enum ClipCodec
{
    /// <summary>None of the others.</summary>
    Other,

    /// <summary>MPEG-1 video (ISO/IEC 11172-2).</summary>
    Mpeg1,

    /// <summary>MPEG-2 video (ISO/IEC 13818-2).</summary>
    Mpeg2,

    /// <summary>H.264, AVC (ISO/IEC 14496-10).</summary>
    H264,

    /// <summary>HEVC, H.265 (ISO/IEC 23008-2).</summary>
    Hevc,

    /// <summary>JPEG pictures one after the other.</summary>
    MotionJpeg,
}

/// <summary>How the sound of a clip is compressed.</summary>
public enum SoundCodec
{
    /// <summary>None of the others.</summary>
    Other,

    /// <summary>AAC (ISO/IEC 14496-3, or 13818-7).</summary>
    Aac,

    /// <summary>MPEG-1 or MPEG-2 layer III.</summary>
    Mp3,

    /// <summary>MPEG-1 layer II.</summary>
    MpegLayer2,

    /// <summary>AC-3.</summary>
    Ac3,

    /// <summary>Uncompressed.</summary>
    Pcm,
}

/// <summary>Why a clip cannot be taken as whole.</summary>
public enum ClipFlaw
{
    /// <summary>The file is none that this program reads.</summary>
    NotRead,

    /// <summary>The file ends before what its own tables announce.</summary>
    Torn,

    /// <summary>Its tables contradict each other, or are beyond every limit.</summary>
    Malformed,

    /// <summary>It has no moving pictures.</summary>
    NoPictures,
}

/// <summary>A sound track.</summary>
/// <param name="Codec">How it is compressed.</param>
/// <param name="Name">The codec as the file names it.</param>
/// <param name="SampleRate">Samples a second; 0 when not told.</param>
/// <param name="Channels">Channels; 0 when not told.</param>
public sealed record ClipSound(SoundCodec Codec, string Name, int SampleRate, int Channels);

/// <summary>The moving pictures of a clip, by the stream itself wherever it says.</summary>
public sealed class ClipVideo
{
    /// <summary>How they are compressed.</summary>
    public ClipCodec Codec { get; internal set; }

    /// <summary>The codec as the file names it, for example "avc1".</summary>
    public string Name { get; internal set; } = "";

    /// <summary>Samples a line that are shown.</summary>
    public int Columns { get; internal set; }

    /// <summary>Lines that are shown.</summary>
    public int Rows { get; internal set; }

    /// <summary>Samples of one coded picture, those that are cut away included.</summary>
    public long CodedSamples { get; internal set; }

    /// <summary>profile_idc, general_profile_idc, or the profile of MPEG-2; 0 when unknown.</summary>
    public int Profile { get; internal set; }

    /// <summary>The profile in words, for example "High" or "Constrained Baseline".</summary>
    public string ProfileName { get; internal set; } = "";

    /// <summary>Ten times the level for H.264 and HEVC (41 is 4.1); the level code of MPEG-2 (8 Main, 6 High 1440, 4 High).</summary>
    public int Level { get; internal set; }

    /// <summary>HEVC: the High tier.</summary>
    public bool IsHighTier { get; internal set; }

    /// <summary>HEVC: a decoder of Main (1) or Main 10 (2) may decode it, as its compatibility flags say.</summary>
    public bool IsMainCompatible { get; internal set; }

    /// <summary>chroma_format_idc: 0 grey, 1 4:2:0, 2 4:2:2, 3 4:4:4; -1 when unknown.</summary>
    public int ChromaFormat { get; internal set; } = -1;

    /// <summary>Bits of a sample, the most of luma and chroma; 0 when unknown.</summary>
    public int BitDepth { get; internal set; }

    /// <summary>Width of a pixel to its <see cref="PixelHeight"/>.</summary>
    public int PixelWidth { get; internal set; } = 1;

    /// <summary>Height of a pixel.</summary>
    public int PixelHeight { get; internal set; } = 1;

    /// <summary>Samples go from 0 to 255 and not from 16 to 235.</summary>
    public bool IsFullRange { get; internal set; }

    /// <summary>Pictures may be of two fields.</summary>
    public bool IsInterlaced { get; internal set; }

    /// <summary>Two views: frame packing, or a stereo profile.</summary>
    public bool IsStereo { get; internal set; }

    /// <summary>Colour primaries of ISO/IEC 23091-2, 2 when not told.</summary>
    public int ColourPrimaries { get; internal set; } = 2;

    /// <summary>Reference pictures that a decoder must keep.</summary>
    public int ReferencePictures { get; internal set; }

    /// <summary>MPEG-2: aspect_ratio_information (1 square, 2 4:3, 3 16:9).</summary>
    public int AspectCode { get; internal set; }

    /// <summary>Pictures.</summary>
    public long Frames { get; internal set; }

    /// <summary>Pictures in <see cref="RateDenominator"/> seconds; 0 when unknown.</summary>
    public long RateNumerator { get; internal set; }

    /// <summary>See <see cref="RateNumerator"/>.</summary>
    public long RateDenominator { get; internal set; } = 1;

    /// <summary>The pictures follow each other in even steps, but for what a clock of coarse ticks rounds.</summary>
    public bool IsConstantRate { get; internal set; } = true;

    /// <summary>Bytes of the pictures alone; 0 when not counted.</summary>
    public long Bytes { get; internal set; }

    /// <summary>Pictures a second; 0 when unknown.</summary>
    public double FrameRate => RateDenominator > 0 ? (double)RateNumerator / RateDenominator : 0;

    /// <summary>How long the pictures last.</summary>
    public TimeSpan Duration => RateNumerator > 0 && Frames * (double)RateDenominator / RateNumerator is < 1e9 and var seconds ? TimeSpan.FromSeconds(seconds) : TimeSpan.Zero;

    /// <summary>Bits a second on average; 0 when unknown.</summary>
    public double BitRate => Duration > TimeSpan.Zero ? Bytes * 8 / Duration.TotalSeconds : 0;
}

/// <summary>
/// What a clip says of itself: container, pictures, sound. Read with buffers of fixed size whatever the file's, its tables walked entry by entry; any
/// bytes give an answer and no exception. Where the container and the bit stream disagree, the stream wins and a note says so.
/// </summary>
public sealed class ClipHeader
{
    private readonly List<string> _notes = [];

    internal ClipHeader(long length) => Length = length;

    /// <summary>What the file is.</summary>
    public ClipContainer Container { get; internal set; }

    /// <summary>Bytes of the file.</summary>
    public long Length { get; }

    /// <summary>MP4: its index is in pieces between the pictures (movie fragments).</summary>
    public bool IsFragmented { get; internal set; }

    /// <summary>MP4: its index stands behind the pictures.</summary>
    public bool IsIndexBehind { get; internal set; }

    /// <summary>The moving pictures; null when there are none, or they are not known.</summary>
    public ClipVideo? Video { get; internal set; }

    /// <summary>The sound tracks in order.</summary>
    public IReadOnlyList<ClipSound> Sounds { get; internal set; } = [];

    /// <summary>Tracks of moving pictures.</summary>
    public int VideoTracks { get; internal set; }

    /// <summary>Tracks that are neither pictures nor sound: time codes, subtitles, positions.</summary>
    public int OtherTracks { get; internal set; }

    /// <summary>Degrees clockwise by which a player turns the pictures: 0, 90, 180 or 270; -1 for anything else (mirrored, scaled, slanted).</summary>
    public int Rotation { get; internal set; }

    /// <summary>A player shows only a part of the pictures, or not in their own time (edit list).</summary>
    public bool IsEdited { get; internal set; }

    /// <summary>When the recording began, UTC; null when the file does not say.</summary>
    public DateTime? RecordedAt { get; internal set; }

    /// <summary>What was odd and is of no harm, without patient data.</summary>
    public IReadOnlyList<string> Notes => _notes;

    /// <summary>Why it cannot be taken as whole, or null.</summary>
    public ClipFlaw? Flaw { get; private set; }

    /// <summary>The flaw in a sentence, or empty.</summary>
    public string FlawText { get; private set; } = "";

    /// <summary>Reads a file.</summary>
    /// <exception cref="IOException">The file cannot be read.</exception>
    /// <exception cref="OperationCanceledException">It was cancelled.</exception>
    public static ClipHeader ReadFile(string path, CancellationToken cancellationToken = default) =>
        Read(PixelSource.FromFile(path, 0, new FileInfo(path).Length), cancellationToken);

    /// <summary>Reads a bit stream wherever it is, also one in fragments of an object.</summary>
    /// <exception cref="IOException">A file cannot be read.</exception>
    /// <exception cref="OperationCanceledException">It was cancelled.</exception>
    public static ClipHeader Read(PixelSource source, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(source);
        using var bytes = new ClipBytes(source, cancellationToken);
        var header = new ClipHeader(bytes.Length);
        Span<byte> head = stackalloc byte[ClipFormat.HeadLength];
        header.Container = ClipFormat.Of(head[..bytes.ReadAt(0, head)]);
        switch (header.Container)
        {
            case ClipContainer.Mp4 or ClipContainer.QuickTime:
                new Mp4Reader(bytes, header).Read();
                break;
            case ClipContainer.Avi:
                AviReader.Read(bytes, header);
                break;
            case ClipContainer.TransportStream or ClipContainer.TimedTransportStream:
                new TransportStreamReader(bytes, header).Read();
                break;
            case ClipContainer.ProgramStream:
                new ProgramStreamReader(bytes, header).Read();
                break;
            case ClipContainer.Elementary:
                ElementaryReader.Read(bytes, header);
                break;
            case ClipContainer.Matroska:
                header.SetFlaw(ClipFlaw.NotRead, "The file is Matroska or WebM, whose contents this program does not read.");
                break;
            case ClipContainer.Asf:
                header.SetFlaw(ClipFlaw.NotRead, "The file is Windows Media (ASF), whose contents this program does not read.");
                break;
            default:
                header.SetFlaw(ClipFlaw.NotRead, "The file's first bytes are those of no clip that is known here.");
                break;
        }

        if (header.Video is null)
        {
            header.SetFlaw(ClipFlaw.NoPictures, "The file has no moving pictures.");
        }
        else if (header.Video.Frames <= 0)
        {
            header.SetFlaw(ClipFlaw.NoPictures, "The file announces moving pictures and has none.");
        }

        return header;
    }

    /// <summary>Says that what was read is in another container: for a file that a tool has made readable.</summary>
    public void AsIn(ClipContainer container) => Container = container;

    internal void Note(string text)
    {
        if (!_notes.Contains(text))
        {
            _notes.Add(text);
        }
    }

    /// <summary>The first flaw stays.</summary>
    internal void SetFlaw(ClipFlaw flaw, string text)
    {
        if (Flaw is null)
        {
            Flaw = flaw;
            FlawText = text;
        }
    }
}
