using System.Buffers.Binary;
using CameraBridge.Dicom.Bitstreams;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>When a capture was taken, and how that is known.</summary>
/// <param name="At">The instant, with the offset of the zone it was read in.</param>
/// <param name="Origin">See <see cref="Capture.TakenAtOrigin"/>.</param>
internal readonly record struct CaptureTime(DateTimeOffset At, string Origin)
{
    /// <summary>Origin of a time that is the file's own, not the picture's.</summary>
    public const string FileOrigin = "file";

    /// <summary>Origin of a time that the camera told with a zone of its own.</summary>
    public const string ExifOrigin = "exif";

    private const int LongestCamera = 200;

    /// <summary>Offsets from UTC that are in use anywhere; what lies beyond was not written by a camera that knew its zone.</summary>
    private static readonly TimeSpan WidestOffset = TimeSpan.FromHours(14);

    /// <summary>
    /// The camera's own time with its own offset; else its local time in the zone of the source; else the file's time, shown in that zone.
    /// </summary>
    public static CaptureTime Of(ExifTime? exif, DateTimeOffset modifiedAt, TimeZoneInfo zone)
    {
        if (exif is not { } time)
        {
            return new CaptureTime(TimeZoneInfo.ConvertTime(modifiedAt, zone), FileOrigin);
        }

        DateTime local = DateTime.SpecifyKind(time.Local, DateTimeKind.Unspecified);
        return time.Offset is { } offset && offset.Duration() <= WidestOffset && offset.Ticks % TimeSpan.TicksPerMinute == 0 && Fits(local, offset)
            ? new CaptureTime(new DateTimeOffset(local, offset), ExifOrigin)
            : new CaptureTime(InZone(local, zone), "exif-local");
    }

    /// <summary>
    /// The camera as it names itself: maker, model and serial number of the body, as far as they are there (CIPA DC-008 version 2.32, sections 4.6.4 and 4.6.5). Null where it
    /// names none of them, or in bytes that are no text.
    /// </summary>
    public static string? CameraOf(Exif? exif)
    {
        string[] parts = [.. new[] { exif?.Make, exif?.Model, exif?.BodySerialNumber }.OfType<string>().Select(part => part.Trim()).Where(part => part.Length > 0)];
        string name = string.Join(' ', parts);
        return name.Length is 0 or > LongestCamera || name.Contains('\uFFFD', StringComparison.Ordinal) ? null : name;
    }

    /// <summary>The Exif metadata in the first bytes of a JPEG file, found without a walk over its picture; null where there is none.</summary>
    /// <param name="head">The file from its first byte; 128 KiB hold any Exif segment that stands where it should.</param>
    public static Exif? ReadExif(ReadOnlySpan<byte> head)
    {
        // ITU-T T.81 section B.1.1.3 and B.2.1: SOI, then segments of FFH, marker, length (itself included) until the first scan (SOS).
        int at = 2;
        while (head.Length >= at + 4 && head is [0xFF, 0xD8, ..] && head[at] == 0xFF)
        {
            byte marker = head[at + 1];
            if (marker == 0xFF)
            {
                at++;
                continue;
            }

            int length = BinaryPrimitives.ReadUInt16BigEndian(head[(at + 2)..]);
            if (marker is 0xDA or 0xD9 || length < 2)
            {
                return null;
            }

            ReadOnlySpan<byte> body = head[(at + 4)..Math.Min(head.Length, at + 2 + length)];
            if (marker == 0xE1 && body.StartsWith("Exif\0\0"u8))
            {
                return Exif.Read(body[6..]);
            }

            at += 2 + length;
        }

        return null;
    }

    /// <summary>
    /// A local time becomes an instant. An hour that comes twice (clocks put back) means its first time; an hour that never was (clocks put
    /// forward) means a clock that nobody put forward, so it is read with the offset from before.
    /// </summary>
    public static DateTimeOffset InZone(DateTime local, TimeZoneInfo zone)
    {
        TimeSpan offset = zone.GetUtcOffset(local);
        if (zone.IsAmbiguousTime(local))
        {
            offset = zone.GetAmbiguousTimeOffsets(local).Max();
        }
        else if (zone.IsInvalidTime(local))
        {
            DateTime before = local.AddDays(-1);
            TimeSpan old = zone.GetUtcOffset(before);
            return TimeZoneInfo.ConvertTime(new DateTimeOffset(local, old), zone);
        }

        return Fits(local, offset) ? new DateTimeOffset(local, offset) : new DateTimeOffset(local, TimeSpan.Zero);
    }

    private static bool Fits(DateTime local, TimeSpan offset) =>
        local.Ticks - offset.Ticks >= DateTimeOffset.MinValue.UtcTicks && local.Ticks - offset.Ticks <= DateTimeOffset.MaxValue.UtcTicks;
}
