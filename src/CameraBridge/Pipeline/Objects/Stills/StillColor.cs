using CameraBridge.Dicom.Bitstreams;

namespace CameraBridge.Pipeline.Objects.Stills;

/// <summary>What the colours of a picture mean: the file's own profile; without one, the name of the colour space that it tells. A grey picture has neither.</summary>
/// <param name="Profile">ICC Profile (0028,2000), or empty.</param>
/// <param name="ColorSpace">Color Space (0028,2002), or null.</param>
/// <param name="Note">Why a profile is left out, or null.</param>
internal readonly record struct StillColor(ReadOnlyMemory<byte> Profile, string? ColorSpace, string? Note)
{
    /// <summary>The samples are no colours to anybody who does not apply the profile: libjxl's XYB, which its profile's name tells.</summary>
    public static bool IsXyb(IReadOnlyList<IccChunk> chunks) =>
        IccProfile.Assemble(chunks, out _)?.Description?.StartsWith("XYB", StringComparison.Ordinal) == true;

    public static StillColor Of(IReadOnlyList<IccChunk> chunks, Exif exif, bool isSrgb = false)
    {
        IccProfile? profile = IccProfile.Assemble(chunks, out string? flaw);
        if (profile is { FitsRgb: true })
        {
            return new StillColor(profile.Bytes, profile.ColorSpace, null);
        }

        if (flaw is not null || profile is not null)
        {
            return new StillColor(default, null, flaw is null ? "The colour profile is not for RGB samples and is left out." : $"{flaw} It is left out.");
        }

        return new StillColor(default, exif switch
        {
            _ when isSrgb => "SRGB",
            { ColorSpace: 1 } => "SRGB",
            { InteroperabilityIndex: "R03" } or { ColorSpace: 2 } => "ADOBERGB",
            _ => null,
        }, null);
    }
}
