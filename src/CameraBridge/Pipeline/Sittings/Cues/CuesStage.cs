using System.Text.RegularExpressions;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using SkiaSharp;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>
/// Looks at captures: when each was taken, and what the picture, its name, its folder or a sidecar says of the patient. Every picture is looked
/// at, since the patient may change in the middle of a folder.
/// </summary>
internal sealed class CuesStage(SiteConfiguration site, IPipelineDatabase database, ILogger<CuesStage> logger) : IStage
{
    /// <summary>An Exif segment (at most 64 KiB) behind a JFIF segment lies in so many bytes.</summary>
    private const int HeadBytes = 128 * 1024;

    /// <summary>Larger files are not decoded: they are no stills of a clinical camera.</summary>
    private const long LargestPicture = 256L * 1024 * 1024;

    private readonly Dictionary<string, SourceConfiguration> _sources = site.Sources.ToDictionary(source => source.Name, StringComparer.Ordinal);

    public Stage Stage => Stage.Cues;

    public IReadOnlyList<string> Lanes { get; } = [""];

    /// <summary>A commit a batch: small where a picture takes long, so that all cores get some.</summary>
    public int Batch => site.Labels.Read ? 8 : 128;

    /// <summary>Looking at pictures is work for the processor alone.</summary>
    public int Workers => site.Labels.Read ? Environment.ProcessorCount : 1;

    public TimeSpan Lease { get; } = TimeSpan.FromMinutes(2);

    public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        IReadOnlyList<Capture> captures = await database.GetCapturesAsync([.. batch.Select(work => work.SubjectId)], cancellation).ConfigureAwait(false);
        Dictionary<long, Capture> byId = captures.ToDictionary(capture => capture.Id);
        var reader = new LabelReader(site.Labels.RareCodes);
        var readings = new List<CaptureReading>(batch.Count);
        foreach (Work work in batch)
        {
            cancellation.ThrowIfCancellationRequested();
            readings.Add(Read(work, byId[work.SubjectId], reader));
        }

        await database.CompleteCuesAsync(readings, cancellation).ConfigureAwait(false);
    }

    /// <summary>Looks at one capture.</summary>
    /// <exception cref="IOException">Its spool file cannot be read.</exception>
    internal CaptureReading Read(Work work, Capture capture, LabelReader reader)
    {
        SourceConfiguration? source = _sources.GetValueOrDefault(capture.Source);
        TimeZoneInfo zone = source?.TimeZone ?? site.TimeZone;
        string path = Path.Combine(site.SpoolFolder, capture.SpoolName);
        var cues = new List<Cue>();
        Exif? exif = null;
        if (Sidecar.IsSidecar(capture.Place))
        {
            cues.Add(ReadSidecar(capture, path));
        }
        else
        {
            AddNames(cues, capture, source?.NamePatterns ?? []);
            exif = site.Labels.Read ? LookAt(cues, capture, path, reader) : ReadExif(path);
        }

        CaptureTime time = CaptureTime.Of(exif?.Captured, capture.ModifiedAt, zone);
        return new CaptureReading(work, time.At, time.Origin, cues) { Camera = CaptureTime.CameraOf(exif) };
    }

    private Cue ReadSidecar(Capture capture, string path)
    {
        Cue cue = capture.Size > Sidecar.LongestFile
            ? Sidecar.Read(capture.Id, new byte[Sidecar.LongestFile + 1])
            : Sidecar.Read(capture.Id, File.ReadAllBytes(path));
        if (cue.Finding is { } finding)
        {
            logger.SidecarFinding(capture.Id, finding.Words);
        }

        return cue;
    }

    private void AddNames(List<Cue> cues, Capture capture, IReadOnlyList<IdentityPattern> patterns)
    {
        if (patterns.Count == 0)
        {
            return;
        }

        string[] folders = capture.Folder.Split('/', StringSplitOptions.RemoveEmptyEntries);
        foreach (string folder in folders)
        {
            AddText(cues, folder, patterns, CueKind.FolderName, capture.Id);
        }

        AddText(cues, Path.GetFileNameWithoutExtension(capture.Place[(capture.Place.LastIndexOf('/') + 1)..]), patterns, CueKind.FileName, capture.Id);
    }

    private bool AddText(List<Cue> cues, string text, IReadOnlyList<IdentityPattern> patterns, CueKind kind, long captureId)
    {
        try
        {
            if (IdentityText.Read(text, patterns, kind, captureId) is not { } cue)
            {
                return false;
            }

            if (!cues.Contains(cue))
            {
                cues.Add(cue);
            }
        }
        catch (RegexMatchTimeoutException slow)
        {
            // What the text says is not known, so the picture counts as one that could not be looked at.
            logger.PatternTooSlow(captureId, slow.Pattern);
            AddUnreadable(cues, captureId, "pattern-too-slow", "a pattern took longer than its time limit");
        }

        return true;
    }

    /// <summary>A card is never a label, whatever the patterns say.</summary>
    private bool AddCard(List<Cue> cues, string text, LabelReading reading, long captureId)
    {
        if (CardReading.Read(text, site.Optics, captureId) is not { } cue)
        {
            return false;
        }

        cues.Add(cue.Card?.ScaleMillimetres is { } printed ? cue with { Scale = Measure(reading, text, (double)printed, captureId) } : cue);
        if (cue.Finding is { } finding)
        {
            logger.CardFinding(captureId, finding.Words);
        }

        return true;
    }

    /// <summary>The scale that a card's code shows, or null with the reason in the log: then no picture gets one from it.</summary>
    private ScaleMeasure? Measure(LabelReading reading, string text, double printed, long captureId)
    {
        Codes.FoundCode[] codes = [.. reading.Codes.Where(code => code.Text == text)];
        (ScaleMeasure? measure, string? refusal) = codes is [var only]
            ? ScaleMeasure.Of(only, printed, reading.Columns, reading.Rows)
            : (null, "it is in the picture more than once; photograph one");
        if (refusal is not null)
        {
            logger.ScaleRefused(captureId, refusal);
        }

        return measure;
    }

    /// <summary>The first bytes only.</summary>
    private static Exif? ReadExif(string path)
    {
        using Microsoft.Win32.SafeHandles.SafeFileHandle file = File.OpenHandle(path);
        byte[] head = System.Buffers.ArrayPool<byte>.Shared.Rent(HeadBytes);
        try
        {
            // Most Exif segments lie in the first page or two; only the rare longer one costs a second read.
            int read = RandomAccess.Read(file, head.AsSpan(0, 4096), 0);
            if (read < 4 || head[0] != 0xFF || head[1] != 0xD8)
            {
                return null;
            }

            read += read == 4096 ? RandomAccess.Read(file, head.AsSpan(read, HeadBytes - read), read) : 0;
            return CaptureTime.ReadExif(head.AsSpan(0, read));
        }
        finally
        {
            System.Buffers.ArrayPool<byte>.Shared.Return(head);
        }
    }

    /// <summary>Reads the file whole, once: its time, and the codes in its picture.</summary>
    private Exif? LookAt(List<Cue> cues, Capture capture, string path, LabelReader reader)
    {
        if (IsClip(path))
        {
            return null;
        }

        if (capture.Size > LargestPicture)
        {
            AddUnreadable(cues, capture.Id, "picture-too-large", "the file is larger than 256 MiB");
            return null;
        }

        using SKData? data = SKData.Create(path);
        if (data is null || data.Size == 0)
        {
            // An I/O error must not look like a picture without a label; an empty file is one that cannot be decoded.
            using FileStream probe = File.OpenRead(path);
            AddUnreadable(cues, capture.Id, "picture-unreadable", "the file is empty");
            return null;
        }

        ReadOnlySpan<byte> bytes = data.AsSpan();
        LabelReading reading = reader.Read(data);
        int foreign = reading.Texts.Count(text => !AddCard(cues, text, reading, capture.Id) && !AddText(cues, text, site.Labels.Patterns, CueKind.Label, capture.Id));
        if (foreign > 0)
        {
            logger.ForeignCodes(capture.Id, foreign);
        }

        if (!reading.Whole || IsTorn(data))
        {
            AddUnreadable(cues, capture.Id, "picture-unreadable", "the file is torn, damaged or no picture");
        }

        return CaptureTime.ReadExif(bytes[..Math.Min(bytes.Length, HeadBytes)]);
    }

    /// <summary>A file that was cut and closed again decodes, with grey where a label may have been; only a walk over its blocks tells.</summary>
    private static bool IsTorn(SKData data)
    {
        if (data.AsSpan() is not [0xFF, 0xD8, ..])
        {
            return false;
        }

        using Stream stream = data.AsStream();
        JpegHeader header = JpegHeader.Read(stream);
        return header.First(JpegFlaw.Torn) is not null || header.First(JpegFlaw.Damaged) is not null;
    }

    private void AddUnreadable(List<Cue> cues, long captureId, string code, string why)
    {
        logger.Unreadable(captureId, why);
        cues.Add(new Cue
        {
            CaptureId = captureId,
            Kind = CueKind.Unreadable,
            Finding = new Reason(code, $"A picture could not be looked at: {why}."),
        });
    }

    /// <summary>A clip is known by its first bytes: it holds no label, and is never read whole for one.</summary>
    private static bool IsClip(string path)
    {
        using Microsoft.Win32.SafeHandles.SafeFileHandle file = File.OpenHandle(path);
        Span<byte> head = stackalloc byte[ClipFormat.HeadLength];
        return ClipFormat.IsClip(head[..RandomAccess.Read(file, head, 0)]);
    }
}
