using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>A transfer syntax for moving pictures and what it takes.</summary>
public sealed record ClipSyntax
{
    /// <summary>The transfer syntax.</summary>
    public required string TransferSyntaxUID { get; init; }

    /// <summary>Its fragmentable sister; null for HEVC, whose own may be parted (PS3.5 section 8.2.10 and 8.2.11).</summary>
    public string? FragmentableUID { get; init; }

    /// <summary>The section of PS3.5 that gives the limits.</summary>
    public required string Section { get; init; }

    /// <summary>How the pictures are compressed.</summary>
    public required ClipCodec Codec { get; init; }

    /// <summary>profile_idc, general_profile_idc, or the profile of MPEG-2.</summary>
    public required int Profile { get; init; }

    /// <summary>Ten times the highest level; for MPEG-2 the level code itself, which is the only one.</summary>
    public required int Level { get; init; }

    /// <summary>The name of profile and level for people.</summary>
    public required string Name { get; init; }

    /// <summary>Most luma samples of a coded picture.</summary>
    public long PictureSamples { get; init; } = long.MaxValue;

    /// <summary>Most luma samples a second.</summary>
    public double SampleRate { get; init; } = double.MaxValue;

    /// <summary>Most bits a second.</summary>
    public double BitRate { get; init; } = double.MaxValue;

    /// <summary>H.264: most luma samples of all reference pictures together.</summary>
    public long ReferenceSamples { get; init; } = long.MaxValue;

    /// <summary>Bits of a sample.</summary>
    public int BitDepth { get; init; } = 8;

    /// <summary>Two views.</summary>
    public bool IsStereo { get; init; }

    /// <summary>Pixels that are not square are allowed.</summary>
    public bool AllowsAnyPixelShape { get; init; }

    /// <summary>Sizes and rates that alone are allowed; empty: all within the other limits.</summary>
    public IReadOnlyList<ClipFormatLimit> Formats { get; init; } = [];

    /// <summary>Lossy Image Compression Method (0028,2114) of PS3.3 section C.7.6.1.1.5.2.</summary>
    public string LossyMethod => Codec switch { ClipCodec.Mpeg2 => "ISO_13818_2", ClipCodec.Hevc => "ISO_23008_2", _ => "ISO_14496_10" };
}

/// <summary>A size with its rate.</summary>
/// <param name="Columns">Samples a line, at most where <paramref name="IsExact"/> is false.</param>
/// <param name="Rows">Lines, likewise.</param>
/// <param name="Rates">Frames a second, each within a thousandth; the sisters of 1000/1001 are meant too.</param>
/// <param name="IsExact">No other size will do.</param>
/// <param name="ProgressiveRates">The rates for pictures that are not of two fields.</param>
public sealed record ClipFormatLimit(int Columns, int Rows, IReadOnlyList<double> Rates, bool IsExact, IReadOnlyList<double> ProgressiveRates);

/// <summary>
/// The transfer syntaxes for moving pictures (PS3.5 sections 8.2.5 to 8.2.11 and A.4.5 to A.4.11, read in edition 2017c), mildest first. Limits of levels are those of
/// ISO/IEC 14496-10 Table A-1, ISO/IEC 23008-2 Tables A.8 and A.9 and ISO/IEC 13818-2 Table 8-13, from memory.
/// </summary>
public static class ClipSyntaxes
{
    private const long Macroblock = 256;

    /// <summary>The longest fragment: an even number below FFFFFFFFH (PS3.5 section A.4).</summary>
    public const long LongestFragment = 0xFFFFFFFE;

    private static readonly double[] HighLevelRates = [25, 29.97, 30, 50, 59.94, 60];
    private static readonly double[] HighLevelProgressive1080 = [25, 29.97, 30];

    /// <summary>
    /// The table. MPEG-4 AVC/H.264 BD-compatible High Profile / Level 4.1 (.103) is not in it: .102 takes whatever that takes, and nothing in a stream proves
    /// the rules of Blu-ray discs.
    /// </summary>
    public static IReadOnlyList<ClipSyntax> All { get; } =
    [
        new()
        {
            TransferSyntaxUID = TransferSyntaxes.MPEG2MPML, FragmentableUID = TransferSyntaxes.MPEG2MPMLF, Section = "PS3.5 8.2.5", Codec = ClipCodec.Mpeg2,
            Profile = 4, Level = 8, Name = "MPEG-2 Main Profile at Main Level", BitRate = 15e6, AllowsAnyPixelShape = true,
            Formats = [new(720, 480, [29.97, 30], false, [29.97, 30]), new(720, 576, [25], false, [25])],
        },
        new()
        {
            TransferSyntaxUID = TransferSyntaxes.MPEG2MPHL, FragmentableUID = TransferSyntaxes.MPEG2MPHLF, Section = "PS3.5 8.2.6", Codec = ClipCodec.Mpeg2,
            Profile = 4, Level = 4, Name = "MPEG-2 Main Profile at High Level", BitRate = 80e6,
            Formats = [new(1280, 720, HighLevelRates, true, HighLevelRates), new(1920, 1080, HighLevelRates, true, HighLevelProgressive1080)],
        },
        new()
        {
            TransferSyntaxUID = TransferSyntaxes.MPEG4HP41, FragmentableUID = TransferSyntaxes.MPEG4HP41F, Section = "PS3.5 8.2.7", Codec = ClipCodec.H264,
            Profile = 100, Level = 41, Name = "H.264 High Profile at Level 4.1",
            PictureSamples = 8192 * Macroblock, SampleRate = 245_760 * Macroblock, BitRate = 62.5e6, ReferenceSamples = 32_768 * Macroblock,
        },
        new()
        {
            TransferSyntaxUID = TransferSyntaxes.MPEG4HP422D, FragmentableUID = TransferSyntaxes.MPEG4HP422DF, Section = "PS3.5 8.2.8", Codec = ClipCodec.H264,
            Profile = 100, Level = 42, Name = "H.264 High Profile at Level 4.2",
            PictureSamples = 8704 * Macroblock, SampleRate = 522_240 * Macroblock, BitRate = 62.5e6, ReferenceSamples = 34_816 * Macroblock,
        },
        new()
        {
            TransferSyntaxUID = TransferSyntaxes.MPEG4HP423D, FragmentableUID = TransferSyntaxes.MPEG4HP423DF, Section = "PS3.5 8.2.8", Codec = ClipCodec.H264,
            Profile = 100, Level = 42, Name = "H.264 High Profile at Level 4.2, frames packed in pairs", IsStereo = true,
            PictureSamples = 8704 * Macroblock, SampleRate = 522_240 * Macroblock, BitRate = 62.5e6, ReferenceSamples = 34_816 * Macroblock,
        },
        new()
        {
            TransferSyntaxUID = TransferSyntaxes.MPEG4HP42STEREO, FragmentableUID = TransferSyntaxes.MPEG4HP42STEREOF, Section = "PS3.5 8.2.9", Codec = ClipCodec.H264,
            Profile = 128, Level = 42, Name = "H.264 Stereo High Profile at Level 4.2", IsStereo = true,
            PictureSamples = 8704 * Macroblock, SampleRate = 522_240 * Macroblock, BitRate = 62.5e6,
        },
        new()
        {
            TransferSyntaxUID = TransferSyntaxes.HEVCMP51, Section = "PS3.5 8.2.10", Codec = ClipCodec.Hevc,
            Profile = 1, Level = 51, Name = "HEVC Main Profile at Level 5.1",
            PictureSamples = 8_912_896, SampleRate = 534_773_760, BitRate = 40e6,
        },
        new()
        {
            TransferSyntaxUID = TransferSyntaxes.HEVCM10P51, Section = "PS3.5 8.2.11", Codec = ClipCodec.Hevc,
            Profile = 2, Level = 51, Name = "HEVC Main 10 Profile at Level 5.1", BitDepth = 10,
            PictureSamples = 8_912_896, SampleRate = 534_773_760, BitRate = 40e6,
        },
    ];

    /// <summary>The row of a transfer syntax, fragmentable or not; null when it is none for moving pictures, or .103.</summary>
    public static ClipSyntax? Find(string transferSyntaxUid) =>
        All.FirstOrDefault(syntax => syntax.TransferSyntaxUID == transferSyntaxUid || syntax.FragmentableUID == transferSyntaxUid);
}
