namespace CameraBridge.Commands.Checks;

internal enum CheckOutcome
{
    Ok,

    /// <summary>It works, and somebody should know this all the same.</summary>
    Hint,

    Failed,

    /// <summary>Not tried, since what it stands on failed.</summary>
    Skipped,
}

/// <summary>One step of <c>check</c>.</summary>
/// <param name="Step">What was looked at: "spool", "worklist: TCP".</param>
/// <param name="Outcome">How it went.</param>
/// <param name="Words">What was found.</param>
/// <param name="NextStep">What to do about it; null when nothing.</param>
internal sealed record CheckLine(string Step, CheckOutcome Outcome, string Words, string? NextStep = null)
{
    /// <summary>The next step where the words tell what to mend.</summary>
    public const string Again = "When that is mended, check again.";

    public override string ToString() =>
        $"{Outcome switch { CheckOutcome.Ok => "ok     ", CheckOutcome.Hint => "hint   ", CheckOutcome.Failed => "FAILED ", _ => "skipped" }}  {Step}: {Words}{(NextStep is null ? "" : $" -> {NextStep}")}";
}
