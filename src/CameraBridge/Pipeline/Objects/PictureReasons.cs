using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects;

/// <summary>The words in which a capture is held whatever its content; those of stills and clips are theirs. The original stays in the spool and on the source.</summary>
internal static class PictureReasons
{
    public static Reason UnknownOptic(string optic, OpticsTable optics) => new(
        "optic-unknown", $"The optic \"{optic}\" is not in the optics table. Known are: {string.Join(", ", optics.Names)}. Once it is known, assign the sitting to the same order again.");

    public static Reason TimeUnknown { get; } = new(
        "time-unknown", "An ophthalmic object must say when its picture was taken, and the camera's clock cannot be right (more than a day ahead, or a year old). Set the camera's clock; for this picture, say the time by hand ('held assign' with --say taken_at=2026-11-25T09:30) or in a sidecar.");

    public static Reason SpoolMissing { get; } = new(
        "spool-missing", "The file is no longer in the spool. Check who cleared it, then take the picture from its source again.");

    public static Reason SpoolChanged { get; } = new(
        "spool-changed", "The file in the spool is not as long as it was when it was taken. Check the spool's disk, then take the picture from its source again.");
}
