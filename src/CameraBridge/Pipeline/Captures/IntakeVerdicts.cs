namespace CameraBridge.Pipeline.Captures;

/// <summary>What the results of an intake mean for what the scanner remembers: taken, known, to be tried again, or skipped for a reason.</summary>
internal sealed class IntakeVerdicts(ScanMemory memory, bool once, TimeProvider clock)
{
    /// <summary>Attempts after which a file that cannot be read is reported; it is tried further all the same.</summary>
    private const int FailuresUntilReported = 3;

    public SkipTally Skipped { get; } = new();

    public int Taken { get; private set; }

    public int Known { get; private set; }

    public int Failures { get; private set; }

    public (SettlingFile File, string Words)? FirstFailure { get; private set; }

    public void Judge(IntakeResult result)
    {
        SettlingFile file = result.File;
        DateTimeOffset now = clock.GetUtcNow();
        switch (result.Copy.Outcome)
        {
            case CopyOutcome.Copied:
            case CopyOutcome.Known:
                Taken += result.IsNew ? 1 : 0;
                Known += result.IsNew ? 0 : 1;
                Remember(file, result.Copy.Stat, SkipReason.None);
                break;
            case CopyOutcome.Foreign:
                Skipped.Add(SkipReason.Foreign, isNew: true, file.Place);
                Remember(file, result.Copy.Stat, SkipReason.Foreign);
                break;
            case CopyOutcome.Changed:
                memory.Settling.Changed(file, result.Copy.Stat, now);
                ReportIf(file.Overdue, file, SkipReason.Changing);
                break;
            case CopyOutcome.Empty:
                ReportIf(once || file.Overdue, file, SkipReason.Empty);
                memory.Settling.Failed(file, now);
                break;
            case CopyOutcome.Unfinished:
                ReportIf(once || file.Overdue, file, SkipReason.Unfinished);
                memory.Settling.Failed(file, now);
                break;
            case CopyOutcome.PathTooLong:
                ReportIf(true, file, SkipReason.PathTooLong);
                memory.Settling.Failed(file, now);
                break;
            case CopyOutcome.NotPermitted:
                Failed(file, result.Copy.Words, report: true, now);
                break;
            case CopyOutcome.Failed:
                Failed(file, result.Copy.Words, file.Failures + 1 >= FailuresUntilReported, now);
                break;
            default:
                // Open for writing, or gone: a complete scan forgets what is gone, and a stick that was pulled must keep what it still has to give.
                memory.Settling.Wait(file, now);
                break;
        }
    }

    private void Failed(SettlingFile file, string? words, bool report, DateTimeOffset now)
    {
        memory.Settling.Failed(file, now);
        Failures++;
        FirstFailure ??= (file, words ?? "unknown");
        ReportIf(report, file, SkipReason.Unreadable);
    }

    private void Remember(SettlingFile file, in FileStat stat, SkipReason reason)
    {
        memory.Known.Set(
            KnownPlaces.KeyOf(file.Place),
            new Mark { Size = stat.Size, ModifiedMs = stat.ModifiedMs, Seen = memory.Scan, Compared = memory.Scan, Reason = reason });
        memory.Settling.Remove(file);
    }

    private void ReportIf(bool condition, SettlingFile file, SkipReason reason)
    {
        if (condition && file.Reported != reason)
        {
            file.Reported = reason;
            Skipped.Add(reason, isNew: true, file.Place);
        }
    }
}
