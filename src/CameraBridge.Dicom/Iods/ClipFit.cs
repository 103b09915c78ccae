using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>A video bit stream against what its transfer syntax says of codec, container, profile, level, sampling and size (PS3.5 sections 8.2.5 to 8.2.11).</summary>
internal sealed class ClipFit(ClipSyntax syntax, bool isBluRay, FindingList findings)
{
    // profile_idc of ISO/IEC 14496-10 Annex A: what every decoder of High decodes too (section A.2.4), though PS3.5 names High only.
    private const int Baseline = 66, Main = 77, High = 100;

    /// <summary>Sizes and rates of PS3.5 Table 8-4, the only ones of the syntax that is compatible with Blu-ray discs.</summary>
    private static readonly (int Columns, int Rows, double Rate)[] BluRay =
    [
        (1920, 1080, 25), (1920, 1080, 29.97), (1920, 1080, 24), (1920, 1080, 23.976), (1280, 720, 50), (1280, 720, 59.94), (1280, 720, 24), (1280, 720, 23.976),
    ];

    /// <summary>The rules of a transfer syntax, fragmentable or not; null for one that is none for moving pictures.</summary>
    public static ClipFit? Of(string TransferSyntaxUID, FindingList findings)
    {
        // The table of bit streams leaves the Blu-ray syntax out; its rules are those of .102 and the list above.
        bool isBluRay = TransferSyntaxUID is TransferSyntaxes.MPEG4HP41BD or TransferSyntaxes.MPEG4HP41BDF;
        return ClipSyntaxes.Find(isBluRay ? TransferSyntaxes.MPEG4HP41 : TransferSyntaxUID) is { } syntax ? new ClipFit(syntax, isBluRay, findings) : null;
    }

    public void Check(ClipHeader header, ClipVideo video)
    {
        if (header.Container is not (ClipContainer.Mp4 or ClipContainer.TransportStream))
        {
            Add("video.container", $"a file of kind {header.Container}", "an MP4 file or an MPEG-2 transport stream");
        }

        if (header.IsFragmented)
        {
            findings.Add(Severity.Note, "video.index", null, "PixelData", syntax.Section, "an MP4 file whose index is in pieces", "this is no rule; few readers of archives know it");
        }

        if (video.Codec != syntax.Codec)
        {
            Add("video.codec", $"pictures of {video.Codec} ({video.Name})", syntax.Name);
            return;
        }

        CheckProfile(video);
        CheckSamples(video);
        CheckSize(video);
    }

    private void CheckProfile(ClipVideo video)
    {
        string found = FormattableString.Invariant($"{video.ProfileName} Profile, level {Level(video)}");
        bool fits = syntax.Codec == ClipCodec.Hevc ? video.IsMainCompatible && (video.BitDepth <= 8 || syntax.BitDepth > 8) : video.Profile == syntax.Profile;
        if (video.Profile > 0 && !fits)
        {
            bool isLesser = syntax.Profile == High && (video.Profile == Main || (video.Profile == Baseline && video.ProfileName.StartsWith("Constrained", StringComparison.Ordinal)));
            findings.Add(isLesser ? Severity.Warning : Severity.Error, "video.profile", null, "PixelData", syntax.Section, found, syntax.Name);
        }

        bool isAbove = syntax.Codec == ClipCodec.Mpeg2 ? video.Level != syntax.Level && video.Level > 0 : video.Level > syntax.Level;
        if (isAbove || video.IsHighTier)
        {
            Add("video.level", found, syntax.Name);
        }

        if (syntax.Codec == ClipCodec.H264 && video.IsStereo != syntax.IsStereo)
        {
            Add("video.stereo", video.IsStereo ? "frames in pairs" : "single frames", syntax.IsStereo ? "frames in pairs" : "single frames");
        }
    }

    private void CheckSamples(ClipVideo video)
    {
        if (video.ChromaFormat is not (1 or -1))
        {
            Add("video.chroma", "colour that is not halved both ways", "4:2:0");
        }

        if (!syntax.AllowsAnyPixelShape && video.PixelWidth != video.PixelHeight)
        {
            Add("video.square", $"pixels of {video.PixelWidth}:{video.PixelHeight}", "square pixels");
        }

        if (video.IsFullRange)
        {
            findings.Add(
                Severity.Warning, "video.range", null, "PhotometricInterpretation", "PS3.3 C.7.6.3.1.2", "samples of the full range", "samples of the partial range, as YBR_PARTIAL_420 says");
        }
    }

    private void CheckSize(ClipVideo video)
    {
        string found = FormattableString.Invariant($"{video.Columns} x {video.Rows} at {video.FrameRate:0.##} a second, {video.BitRate / 1e6:0.#} Mbit/s");
        if (isBluRay && !BluRay.Any(one => one.Columns == video.Columns && one.Rows == video.Rows && Math.Abs(one.Rate - video.FrameRate) < 0.02))
        {
            Add("video.size", found, "a size and rate of PS3.5 Table 8-4");
        }
        else if (syntax.Formats.Count > 0 && !syntax.Formats.Any(format => IsOf(format, video)))
        {
            Add("video.size", found, string.Join(" or ", syntax.Formats.Select(format => $"{(format.IsExact ? "" : "at most ")}{format.Columns} x {format.Rows}")));
        }
        else if (video.CodedSamples > syntax.PictureSamples || video.CodedSamples * video.FrameRate > syntax.SampleRate * 1.0001 || video.BitRate > syntax.BitRate)
        {
            Add("video.size", found, $"what {syntax.Name} holds");
        }
    }

    private static bool IsOf(ClipFormatLimit format, ClipVideo video) =>
        (format.IsExact ? video.Columns == format.Columns && video.Rows == format.Rows : video.Columns <= format.Columns && video.Rows <= format.Rows)
        && (video.IsInterlaced ? format.Rates : format.ProgressiveRates).Any(rate => Math.Abs(video.FrameRate - rate) < rate * 0.0005);

    private string Level(ClipVideo video) => syntax.Codec == ClipCodec.Mpeg2
        ? $"code {video.Level}"
        : FormattableString.Invariant($"{video.Level / 10}.{video.Level % 10}{(video.IsHighTier ? " High tier" : "")}");

    private void Add(string rule, string found, string right) => findings.Add(Severity.Error, rule, null, "PixelData", syntax.Section, found, right);
}
