using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// What goes into Pixel Data (PS3.3 section C.7.6.3), and what the bit stream says of itself; the mapping makes attributes of it and looks into no file.
/// Files of the spool are named by absolute path.
/// </summary>
internal abstract record Content
{
    /// <summary>The pieces of encapsulated Pixel Data in order (PS3.5 section A.4); empty when <see cref="Native"/> holds it.</summary>
    public IReadOnlyList<PixelSource> Fragments { get; init; } = [];

    /// <summary>Uncompressed Pixel Data, little endian, of even length; null when it is encapsulated.</summary>
    public PixelSource? Native { get; init; }

    public required string TransferSyntaxUID { get; init; }

    public required int Rows { get; init; }

    public required int Columns { get; init; }

    public required int SamplesPerPixel { get; init; }

    public required int BitsAllocated { get; init; }

    public required int BitsStored { get; init; }

    /// <summary>Photometric Interpretation (0028,0004) as it is written for this transfer syntax.</summary>
    public required string PhotometricInterpretation { get; init; }

    /// <summary>Bytes of the bit stream without padding: for the ratio, and for Encapsulated Pixel Data Value Total Length (7FE0,0003).</summary>
    public required long StreamLength { get; init; }

    /// <summary>Every lossy compression the picture has gone through, first to last; empty when it never was compressed with loss.</summary>
    public IReadOnlyList<LossyStep> LossySteps { get; init; } = [];

    /// <summary>What was done to the camera's picture; null when it goes in as it is.</summary>
    public Derivation? Derivation { get; init; }

    /// <summary>ICC Profile (0028,2000), or empty.</summary>
    public ReadOnlyMemory<byte> IccProfile { get; init; }

    /// <summary>Color Space (0028,2002), a defined term such as SRGB, or null when unknown.</summary>
    public string? ColorSpace { get; init; }

    /// <summary>What was left out or changed, in words without patient data.</summary>
    public IReadOnlyList<string> Notes { get; init; } = [];
}

/// <summary>A lossy compression.</summary>
/// <param name="Method">Lossy Image Compression Method (0028,2114), a defined term of PS3.3 section C.7.6.1.1.5.2.</param>
/// <param name="Ratio">Uncompressed bytes over compressed bytes (0028,2112); above 0.</param>
internal readonly record struct LossyStep(string Method, decimal Ratio);

/// <summary>What was done to the camera's picture before it went into the object.</summary>
/// <param name="Words">For Derivation Description (0008,2111).</param>
/// <param name="Codes">For Derivation Code Sequence (0008,9215), of PS3.16 CID 7203.</param>
/// <param name="PixelsChanged">Pixel values are not those of the camera's file: Image Type begins with DERIVED.</param>
internal sealed record Derivation(string Words, IReadOnlyList<DerivationCode> Codes, bool PixelsChanged);

/// <summary>A code of PS3.16 CID 7203, for example (113040, DCM, "Lossy Compression").</summary>
internal readonly record struct DerivationCode(string CodeValue, string CodingSchemeDesignator, string CodeMeaning);

/// <summary>A still picture.</summary>
internal sealed record StillContent : Content
{
    /// <summary>What the file's Exif says; <see cref="Exif.Empty"/> where there is none.</summary>
    public required Exif Exif { get; init; }
}

/// <summary>A clip. Numbers are those of the stream.</summary>
internal sealed record ClipContent : Content
{
    public required int NumberOfFrames { get; init; }

    /// <summary>Frame Time (0018,1063): milliseconds from frame to frame; above 0.</summary>
    public required decimal FrameTimeMs { get; init; }

    /// <summary>Cine Rate (0018,0040): frames in a second, whole; null when it is told by Frame Time alone.</summary>
    public int? CineRate { get; init; }

    public required TimeSpan Duration { get; init; }

    public bool HasSound { get; init; }

    /// <summary>Channels of the (first) sound track: 1, 2 or 6; 0 when there is no sound.</summary>
    public int SoundChannels { get; init; }

    /// <summary>When the recording began by the stream itself, UTC; null when it does not say or says 0.</summary>
    public DateTime? RecordedAt { get; init; }

    /// <summary>Two views: Stereo Pairs Present (0022,0028) is YES (PS3.5 section 8.2.8).</summary>
    public bool IsStereo { get; init; }

    /// <summary>Pixel Aspect Ratio (0028,0034), for the one transfer syntax that allows pixels that are not square (.100); else null, and the attribute absent.</summary>
    public (int Vertical, int Horizontal)? PixelAspectRatio { get; init; }
}

/// <summary>What came of a camera file: content for an object, or why it is held.</summary>
internal abstract record ContentOutcome
{
    internal sealed record Made(Content Content) : ContentOutcome;

    internal sealed record Held(Reason Reason) : ContentOutcome;
}
