using CameraBridge.Dicom.Bitstreams;

namespace CameraBridge.Pipeline.Objects.Clips;

/// <summary>The words in which a clip is held: what it is, and what to do. The original stays in the spool and on the source.</summary>
internal static class ClipReasons
{
    public static Reason NotWhole(ClipHeader header) => header.Flaw switch
    {
        ClipFlaw.Torn => new("clip-torn", $"{header.FlawText} Copy the clip from the camera again; half a clip is never filed."),
        ClipFlaw.NoPictures => new("clip-empty", $"{header.FlawText} Look at the file on the source, then set it aside."),
        ClipFlaw.NotRead => new("clip-unknown", $"{header.FlawText} Look at the file on the source, then set it aside."),
        _ => new("clip-malformed", $"{header.FlawText} Copy the clip from the camera again, or set it aside."),
    };

    public static Reason NoProgram(ClipVerdict verdict, string? configured) => new(
        "clip-needs-ffmpeg",
        $"{Texts(verdict)} It can be {Doing(verdict.Step)} by ffmpeg, which {(configured is null ? "is not installed here" : "is not where the configuration says")}: {(configured is null ? "install it" : "mend clips.ffmpeg")}, or set the camera to H.264 High in MP4; then try the sitting again.");

    public static Reason NotAllowed(ClipVerdict verdict) => new(
        "clip-not-conforming",
        $"{Texts(verdict)} It could be {Doing(verdict.Step)} by ffmpeg, which the configuration (clips.convert) does not allow. Allow it, or set the camera to H.264 High in MP4; then try the sitting again.");

    public static Reason Failed(ClipVerdict verdict, string words) => new(
        "clip-not-converted", $"{Texts(verdict)} ffmpeg could not mend that. {words} Look at the clip in a player; copy it from the camera again, or set it aside.");

    public static Reason StillUnfit(ClipVerdict first, ClipVerdict last) => new(
        "clip-not-converted", $"{Texts(first)} After its conversion by ffmpeg: {Texts(last)} It cannot be filed; set the camera to H.264 High in MP4.");

    public static Reason FramesLost(long before, long after) => new(
        "clip-not-converted",
        FormattableString.Invariant($"The clip has {before} pictures and its conversion by ffmpeg {after}: it is damaged. Copy the clip from the camera again, or set it aside."));

    public static Reason TooLong(ClipSyntax syntax, long length) => new(
        "clip-too-long",
        FormattableString.Invariant($"The clip has {length} bytes; one fragment of {syntax.Name} ends at {ClipSyntaxes.LongestFragment}, and not every destination allows the fragmentable transfer syntax. Set fragmentable_video for each that takes it, or record shorter clips; then try the sitting again."));

    public static Reason TooManyFrames { get; } = new("clip-too-long", "The clip has more pictures than an object can count (2,147,483,647). Record shorter clips.");

    public static Reason SpoolMissing { get; } = new("spool-missing", "The clip is no longer in the spool. Take the source again.");

    private static string Texts(ClipVerdict verdict) => string.Join(' ', verdict.Obstacles.Select(obstacle => obstacle.Text).Distinct());

    private static string Doing(ClipStep step) => step switch
    {
        ClipStep.Label => "labelled rightly, with its pictures unchanged,",
        ClipStep.Container => "put into an MP4 file, with its pictures unchanged,",
        ClipStep.Sound => "given fitting sound, with its pictures unchanged,",
        _ => "compressed anew",
    };
}
