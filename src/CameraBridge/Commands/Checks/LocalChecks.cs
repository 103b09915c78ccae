using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Commands.Checks;

/// <summary>What can be looked at on this machine: sources, spool, state, clock. Nothing is left behind.</summary>
internal static class LocalChecks
{
    /// <summary>Below this a busy day may fill the disk.</summary>
    private const long LeastFreeBytes = 1L << 30;

    /// <summary>Files looked at for the clock's sake; the newest of them is enough of a hint.</summary>
    private const int MostFilesForClock = 2000;

    /// <summary>Work that is due for so long lies still.</summary>
    private static readonly TimeSpan LyingStillLimit = TimeSpan.FromMinutes(10);

    private static readonly TimeSpan AheadTolerance = TimeSpan.FromMinutes(2);

    public static async IAsyncEnumerable<CheckLine> WalkAsync(
        SiteConfiguration site, TimeProvider clock, [System.Runtime.CompilerServices.EnumeratorCancellation] CancellationToken cancellation)
    {
        if (site.Sources.Count == 0)
        {
            yield return new CheckLine("sources", CheckOutcome.Hint, "none is configured, so 'serve' takes nothing", "Add one under sources; 'once FOLDER' works without.");
        }

        foreach (SourceConfiguration source in site.Sources)
        {
            yield return Source(source);
        }

        foreach (OpticHint hint in OpticHint.Of(site))
        {
            yield return new CheckLine($"optic of {hint.Source}", CheckOutcome.Hint, hint.Words, hint.Fix);
        }

        yield return Spool(site.SpoolFolder);
        foreach (CheckLine line in await StateAsync(site, clock, cancellation).ConfigureAwait(false))
        {
            yield return line;
        }

        foreach (SourceConfiguration source in site.Sources)
        {
            if (CameraClock(source, clock.GetUtcNow()) is { } line)
            {
                yield return line;
            }
        }
    }

    private static CheckLine Source(SourceConfiguration source)
    {
        string step = $"source {source.Name}";
        bool anyMount = source.Folder.EndsWith("/*", StringComparison.Ordinal);
        string folder = anyMount ? source.Folder[..^2] : source.Folder;
        if (!Directory.Exists(folder))
        {
            return source.Kind == SourceKind.Stick && !anyMount
                ? new CheckLine(step, CheckOutcome.Ok, $"{folder} is not there now; it is taken when the stick comes")
                : new CheckLine(step, CheckOutcome.Failed, $"{folder} does not exist", "Mount it, or correct the folder in the configuration.");
        }

        try
        {
            int entries = Directory.EnumerateFileSystemEntries(folder).Take(1000).Count();
            return new CheckLine(step, CheckOutcome.Ok, string.Create(CultureInfo.InvariantCulture, $"{folder} can be read, {entries}{(entries == 1000 ? " or more" : "")} entries at its top"));
        }
        catch (Exception fault) when (fault is IOException or UnauthorizedAccessException)
        {
            return new CheckLine(step, CheckOutcome.Failed, $"{folder} cannot be read ({fault.Message.TrimEnd('.')})", "Let the service's user read it.");
        }
    }

    private static CheckLine Spool(string folder)
    {
        if (!Directory.Exists(folder))
        {
            return NotThere("spool", folder);
        }

        string probe = Path.Combine(folder, $".check-{Guid.NewGuid():N}");
        try
        {
            File.WriteAllBytes(probe, [1]);
            File.Delete(probe);
            long free = new DriveInfo(folder).AvailableFreeSpace;
            string words = string.Create(CultureInfo.InvariantCulture, $"{folder} can be written, {free / (double)(1 << 30):0.0} GiB free");
            return free < LeastFreeBytes
                ? new CheckLine("spool", CheckOutcome.Failed, words, "Free some space or move the spool: a full spool takes no more pictures.")
                : new CheckLine("spool", CheckOutcome.Ok, words);
        }
        catch (Exception fault) when (fault is IOException or UnauthorizedAccessException)
        {
            return new CheckLine("spool", CheckOutcome.Failed, $"{folder} cannot be written ({fault.Message.TrimEnd('.')})", "Let the service's user write there.");
        }
    }

    private static async Task<IReadOnlyList<CheckLine>> StateAsync(SiteConfiguration site, TimeProvider clock, CancellationToken cancellation)
    {
        if (site.StateServer is null && !File.Exists(site.StateFile))
        {
            return [NotThere("state", site.StateFile)];
        }

        try
        {
            IPipelineDatabase database = await PipelineDatabase.OpenAsync(site, clock, cancellation).ConfigureAwait(false);
            await using (database.ConfigureAwait(false))
            {
                int held = (await database.GetHeldAsync(cancellation).ConfigureAwait(false)).Count;
                int work = (await database.CountWorkAsync(cancellation).ConfigureAwait(false)).Values.Sum();
                string words = string.Create(CultureInfo.InvariantCulture, $"{site.StateName} is sound: {work} pieces of work open, {held} sittings held");
                return
                [
                    site.StateServer is { Tls: StateTls.Off, IsOnThisMachine: false }
                        ? new CheckLine("state", CheckOutcome.Hint, words + "; it travels without TLS", "Write tls: verify below state, unless the network between is nobody else's.")
                        : held > 0 ? new CheckLine("state", CheckOutcome.Hint, words, "See 'camerabridge held list'.")
                        : new CheckLine("state", CheckOutcome.Ok, words),
                    .. (await database.GetSpoolsAsync(cancellation).ConfigureAwait(false)).Select(spool => Spool(spool, clock.GetUtcNow())),
                ];
            }
        }
        catch (StateUnavailableException fault)
        {
            return [new CheckLine("state", CheckOutcome.Failed, fault.Message.TrimEnd('.'), "The service cannot run until this is repaired.")];
        }
    }

    /// <summary>A spool whose work lies still may be that of a worker that is no more.</summary>
    private static CheckLine Spool(SpoolStanding spool, DateTimeOffset now)
    {
        string step = $"spool on {spool.Worker}";
        string words = string.Create(CultureInfo.InvariantCulture, $"{spool.Folder}{(spool.IsOwn ? " (this one)" : "")}: {spool.Open} pieces of work need it, {spool.InHands} are in hand");
        return spool.InHands == 0 && spool.DueSince is { } since && now - since > LyingStillLimit
            ? new CheckLine(
                step,
                CheckOutcome.Hint,
                string.Create(CultureInfo.InvariantCulture, $"{words}; none was done since {since:yyyy-MM-dd HH:mm} UTC"),
                "See that the worker there runs; if it cannot, mount its spool on another machine and run a worker whose spool is that folder.")
            : new CheckLine(step, CheckOutcome.Ok, words);
    }

    /// <summary>A folder or file that the service makes at its first start, if it may: made here it would belong to whoever runs the check.</summary>
    private static CheckLine NotThere(string step, string path)
    {
        string? above = Path.GetDirectoryName(Path.TrimEndingDirectorySeparator(path));
        while (above is not null && !Directory.Exists(above))
        {
            above = Path.GetDirectoryName(above);
        }

        return new CheckLine(step, CheckOutcome.Hint, $"{path} is not there yet", $"It is made at the first start, if the service's user may write in {above ?? "/"}.");
    }

    /// <summary>A picture from the future shows that a clock is wrong: the camera's, its zone here, or this machine's.</summary>
    private static CheckLine? CameraClock(SourceConfiguration source, DateTimeOffset now)
    {
        string folder = source.Folder.EndsWith("/*", StringComparison.Ordinal) ? source.Folder[..^2] : source.Folder;
        if (!Directory.Exists(folder))
        {
            return null;
        }

        EnumerationOptions options = new() { RecurseSubdirectories = true, MaxRecursionDepth = 4, IgnoreInaccessible = true, AttributesToSkip = FileAttributes.ReparsePoint };
        DateTime newest = new DirectoryInfo(folder).EnumerateFiles("*", options).Take(MostFilesForClock)
            .Select(file => file.LastWriteTimeUtc).DefaultIfEmpty().Max();
        TimeSpan ahead = newest == default ? TimeSpan.Zero : newest - now.UtcDateTime;
        return ahead > AheadTolerance
            ? new CheckLine(
                $"clock of {source.Name}",
                CheckOutcome.Hint,
                string.Create(CultureInfo.InvariantCulture, $"a file's time is {ahead.TotalMinutes:0} min ahead of this machine's clock"),
                "Set the camera's clock, its time_zone here, or this machine's clock right.")
            : new CheckLine($"clock of {source.Name}", CheckOutcome.Ok, newest == default ? "no file to tell it by" : "no file from the future");
    }
}
