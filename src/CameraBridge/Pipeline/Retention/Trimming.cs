using CameraBridge.Configuration;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Retention;

/// <summary>
/// Lets spool files and the large parts of old rows go, in small portions: only what every destination keeps, whose source is settled, and whose time here is over.
/// What is held, unconfirmed or to be released stays, however full the disk is.
/// </summary>
/// <param name="site">The policy, and the spool.</param>
/// <param name="database">The state.</param>
/// <param name="clock">Source of times.</param>
/// <param name="logger">Log.</param>
internal sealed class Trimming(SiteConfiguration site, IPipelineDatabase database, TimeProvider clock, ILogger<Trimming> logger)
{
    /// <summary>Between two looks.</summary>
    public static readonly TimeSpan Interval = TimeSpan.FromHours(1);

    private const int Portion = 200;

    /// <summary>Looks again and again until it is cancelled, and then ends without an exception.</summary>
    public async Task RunAsync(CancellationToken cancellation)
    {
        using var timer = new PeriodicTimer(Interval, clock);
        try
        {
            do
            {
                await TrimAsync(cancellation).ConfigureAwait(false);
            }
            while (await timer.WaitForNextTickAsync(cancellation).ConfigureAwait(false));
        }
        catch (OperationCanceledException) when (cancellation.IsCancellationRequested)
        {
            // The end that was asked for.
        }
    }

    /// <summary>Lets go of all that may go now.</summary>
    public async Task TrimAsync(CancellationToken cancellation)
    {
        try
        {
            DateTimeOffset now = clock.GetUtcNow();
            int captures = 0;
            int files = 0;
            while (await database.GetTrimmableAsync(now - site.Retention.KeepSpool, Portion, cancellation).ConfigureAwait(false) is { Count: > 0 } tasks)
            {
                files += tasks.SelectMany(task => task.SpoolNames).Distinct(StringComparer.Ordinal).Count(name => LetGo(name, now - site.Retention.KeepSpool));
                await database.MarkTrimmedAsync([.. tasks.Select(task => task.CaptureId)], cancellation).ConfigureAwait(false);
                captures += tasks.Count;
            }

            if (captures > 0)
            {
                logger.Trimmed(files, captures);
            }

            while (await database.TrimStateAsync(now - site.Retention.KeepState, Portion, cancellation).ConfigureAwait(false) == Portion)
            {
                cancellation.ThrowIfCancellationRequested();
            }
        }
        catch (Exception unavailable) when (unavailable is StateUnavailableException or IOException or UnauthorizedAccessException)
        {
            logger.CannotTrim(unavailable.Message);
        }
    }

    /// <summary>
    /// Removes a spool file that was written before the time. Another capture of the same content writes it anew, with a time of now: it is taken away first and looked at
    /// then, so that a file which came in that moment goes back.
    /// </summary>
    private bool LetGo(string spoolName, DateTimeOffset before)
    {
        string path = Path.Combine(site.SpoolFolder, spoolName);
        if (!File.Exists(path) || File.GetLastWriteTimeUtc(path) > before.UtcDateTime)
        {
            return false;
        }

        string away = $"{path}.going";
        File.Move(path, away, overwrite: true);
        if (File.GetLastWriteTimeUtc(away) > before.UtcDateTime)
        {
            File.Move(away, path, overwrite: true);
            return false;
        }

        File.Delete(away);
        return true;
    }
}
