using System.Globalization;
using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Captures;

namespace CameraBridge.Pipeline.Releases;

/// <summary>
/// Writes in words, into the root of each source that wishes it, whether it may be wiped: for people who have the stick in their hand and no screen. Only written
/// when it says something new, since each write wears a stick; "safe" only after every file was compared by its content.
/// </summary>
/// <param name="site">The sources.</param>
/// <param name="database">How their captures stand.</param>
/// <param name="clock">Source of times.</param>
/// <param name="logger">Log.</param>
internal sealed class StateNotes(SiteConfiguration site, IPipelineDatabase database, TimeProvider clock, ILogger<StateNotes> logger)
{
    /// <summary>Begins with <see cref="CaptureNames.MarkerPrefix"/>, which the scanner passes over.</summary>
    public const string FileName = "CAMERABRIDGE-STATE.TXT";

    /// <summary>Between two looks.</summary>
    public static readonly TimeSpan Interval = TimeSpan.FromSeconds(30);

    private const string UnfinishedName = FileName + ".NEW";

    private const int LongestNote = 4096;

    private const string Caution =
        "A picture that came later is not spoken of: if there are more on it than this says, do not wipe it.\r\n"
        + "Whether and when a stick may be wiped is for the policy of your hospital to say.\r\n";

    /// <summary>Looks again and again until it is cancelled, and then ends without an exception.</summary>
    public async Task RunAsync(CancellationToken cancellation)
    {
        if (!site.Sources.Any(source => source.StateNote))
        {
            return;
        }

        using var timer = new PeriodicTimer(Interval, clock);
        try
        {
            do
            {
                await WriteAsync(site.Sources, cancellation).ConfigureAwait(false);
            }
            while (await timer.WaitForNextTickAsync(cancellation).ConfigureAwait(false));
        }
        catch (OperationCanceledException) when (cancellation.IsCancellationRequested)
        {
            // The end that was asked for.
        }
    }

    /// <summary>Writes the notes of those of these sources that wish one.</summary>
    public async Task WriteAsync(IEnumerable<SourceConfiguration> sources, CancellationToken cancellation)
    {
        foreach (SourceConfiguration source in sources.Where(source => source.StateNote))
        {
            try
            {
                IReadOnlyList<CaptureStanding> standings = await database.GetStandingsAsync(source.Name, cancellation).ConfigureAwait(false);
                await Task.Run(() => Write(source, standings, cancellation), cancellation).ConfigureAwait(false);
            }
            catch (StateUnavailableException)
            {
                // The flow tells of it, and tries again by itself.
            }
        }
    }

    private void Write(SourceConfiguration source, IReadOnlyList<CaptureStanding> standings, CancellationToken cancellation)
    {
        foreach (SourceTree tree in SourceTree.Open(source))
        {
            using (tree)
            {
                try
                {
                    tree.WithFolder("", root => Write(source, tree, root, standings, cancellation));
                }
                catch (Exception unwritable) when (unwritable is IOException or UnauthorizedAccessException)
                {
                    logger.NoStateNote(source.Name, unwritable is UnauthorizedAccessException ? "it may not be written by the service's user" : "it is full, read-only or gone");
                }
            }
        }
    }

    private void Write(SourceConfiguration source, SourceTree tree, string root, IReadOnlyList<CaptureStanding> standings, CancellationToken cancellation)
    {
        SourceSurvey survey = SourceSurvey.Of(source, tree, standings, thorough: false, cancellation);
        string path = Path.Combine(root, FileName);
        string? before = Read(path);
        if (IsSaid(before, survey))
        {
            return;
        }

        if (survey.Wiping == Wiping.Safe)
        {
            survey = SourceSurvey.Of(source, tree, standings, thorough: true, cancellation);
        }

        if (survey.Wiping == Wiping.Empty && before is null)
        {
            return;
        }

        DateTimeOffset now = TimeZoneInfo.ConvertTime(clock.GetUtcNow(), source.TimeZone ?? site.TimeZone);
        byte[] note = Encoding.UTF8.GetBytes(string.Create(CultureInfo.InvariantCulture, $"{survey.Words}\r\nThis was so at {now:yyyy-MM-dd HH:mm zzz}. {Caution}"));
        string unfinished = Path.Combine(root, UnfinishedName);
        File.Delete(unfinished);
        using (var file = new FileStream(unfinished, FileMode.CreateNew, FileAccess.Write))
        {
            file.Write(note);
            file.Flush(flushToDisk: true);
        }

        // A link that somebody put at the name is replaced, not followed.
        File.Move(unfinished, path, overwrite: true);
    }

    private static bool IsSaid(string? note, SourceSurvey survey) => note?.StartsWith(survey.Words + "\r\n", StringComparison.Ordinal) == true;

    private static string? Read(string path) =>
        new FileInfo(path) is { Exists: true, LinkTarget: null, Length: <= LongestNote } ? File.ReadAllText(path) : null;
}
