using System.Globalization;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Captures;

namespace CameraBridge.Commands;

/// <summary>Files that were not taken for one reason: how many, the reason in words, the first of them, and whether a person should look.</summary>
internal sealed record SkippedReply(SkipReason Reason, int Count, string Words, IReadOnlyList<string> Places, bool NeedsAttention);

/// <summary>A sitting whose performed step the RIS does not know to its end. The pictures are not concerned.</summary>
internal sealed record UntoldStepReply(long Sitting, PerformedStepState State, string? Words);

/// <summary>What came of one pass over a folder.</summary>
internal sealed record OnceReply
{
    /// <summary>Sittings that are named in one line.</summary>
    private const int MostNumbers = 10;

    public required string Source { get; init; }

    public required string Folder { get; init; }

    /// <summary>Files that were new and lie safe in the spool now.</summary>
    public int Taken { get; init; }

    /// <summary>Files that had been taken before.</summary>
    public int Known { get; init; }

    public IReadOnlyList<SkippedReply> Skipped { get; init; } = [];

    /// <summary>Why not everything could be taken; null when it was.</summary>
    public string? Trouble { get; init; }

    public IReadOnlyList<SittingReply> Sittings { get; init; } = [];

    /// <summary>What the RIS could not be told.</summary>
    public IReadOnlyList<UntoldStepReply> UntoldSteps { get; init; } = [];

    /// <summary>Seconds from start to end.</summary>
    public double Seconds { get; init; }

    public int ExitCode { get; init; }

    public void WriteTable(TextWriter writer)
    {
        TextTable.Write(writer, ["folder", "sitting", "filed under", "captures", "pictures", "delivered", "kept"], Sittings.Select(Row));
        writer.WriteLine();
        // A dead peer concerns every sitting of a stick, and is told once.
        foreach (IGrouping<string, SittingReply> alike in Sittings.SelectMany(sitting => sitting.Held.Select(reason => (sitting, reason.Words))).GroupBy(one => one.Words, one => one.sitting))
        {
            writer.WriteLine(alike.ToArray() is [var only]
                ? FormattableString.Invariant($"Sitting {only.Sitting} (folder {FolderOf(only)}) is held: {alike.Key}")
                : $"Sittings {Numbers(alike)} are held: {alike.Key}");
        }

        foreach (HeldCaptureReply capture in Sittings.SelectMany(sitting => sitting.HeldCaptures))
        {
            writer.WriteLine($"{capture.Place} is held: {capture.Reason}");
        }

        foreach (var alike in Sittings.SelectMany(sitting => sitting.Deliveries.Where(delivery => delivery.Undelivered > 0).Select(delivery => (Sitting: sitting, Delivery: delivery)))
            .GroupBy(one => (one.Delivery.Destination, Outcome: one.Delivery.Outcome ?? "not tried yet")))
        {
            writer.WriteLine(FormattableString.Invariant(
                $"{alike.Sum(one => one.Delivery.Undelivered)} of {(alike.Count() == 1 ? "sitting" : "sittings")} {Numbers(alike.Select(one => one.Sitting))} not delivered to {alike.Key.Destination}: {alike.Key.Outcome}"));
        }

        foreach (var alike in Sittings.SelectMany(sitting => sitting.Deliveries.Where(delivery => delivery.Unconfirmed > 0).Select(delivery => (Sitting: sitting, Delivery: delivery)))
            .GroupBy(one => (one.Delivery.Destination, Words: one.Delivery.ConfirmationOutcome ?? "not asked yet")))
        {
            writer.WriteLine(FormattableString.Invariant(
                $"{alike.Sum(one => one.Delivery.Unconfirmed)} of {(alike.Count() == 1 ? "sitting" : "sittings")} {Numbers(alike.Select(one => one.Sitting))} not confirmed by {alike.Key.Destination}: {alike.Key.Words}"));
        }

        foreach (IGrouping<string, UntoldStepReply> alike in UntoldSteps.GroupBy(step => step.Words ?? "not told yet"))
        {
            writer.WriteLine(FormattableString.Invariant($"The RIS could not be told of {alike.Count()} procedures to their end; the pictures are not concerned: {alike.Key}"));
        }

        foreach (SkippedReply skipped in Skipped.Where(skipped => skipped.NeedsAttention))
        {
            writer.WriteLine(FormattableString.Invariant($"Not taken: {skipped.Count} {skipped.Words}: {string.Join(", ", skipped.Places.Take(5))}{(skipped.Count > 5 ? ", ..." : "")}"));
        }

        if (Trouble is not null)
        {
            writer.WriteLine(Trouble);
        }

        writer.WriteLine(string.Create(
            CultureInfo.InvariantCulture,
            $"{Taken} files taken, {Known} known from before, {Skipped.Sum(skipped => skipped.Count)} not taken{(Trouble is null ? "" : ", the rest not reached: nothing may be wiped")}. {Sittings.Count(sitting => sitting.Step is not null)} sittings filed, {Sittings.Count(sitting => sitting.IsHeld)} with something held. {Seconds:0.0} s."));
        if (ExitCode == ExitCodes.Held)
        {
            writer.WriteLine("'camerabridge held list' shows what waits for a person.");
        }
        else if (ExitCode == ExitCodes.Undelivered)
        {
            writer.WriteLine(
                (Trouble is null ? "" : "Run 'once' again when that is mended: it carries on where it stopped. ")
                + "What is undelivered or unconfirmed stays queued: run 'once' again or start the service when the peer is back. 'camerabridge check' finds the fault. "
                + "What was refused or given up goes again by 'camerabridge deliveries again'.");
        }
    }

    private static string Numbers(IEnumerable<SittingReply> sittings)
    {
        string[] numbers = [.. sittings.Select(sitting => sitting.Sitting.ToString(CultureInfo.InvariantCulture))];
        return numbers.Length <= MostNumbers ? string.Join(", ", numbers) : $"{string.Join(", ", numbers.Take(MostNumbers))} and {numbers.Length - MostNumbers} more";
    }

    private static IReadOnlyList<string> Row(SittingReply sitting) =>
    [
        FolderOf(sitting),
        sitting.Sitting.ToString(CultureInfo.InvariantCulture),
        sitting.Step is not null ? sitting.Step.OrderLine()
            : sitting.State == SittingState.Empty ? "nothing to file"
            : sitting.Held.Count > 0 ? $"held ({string.Join(", ", sitting.Held.Select(reason => reason.Code))})"
            : "not decided yet",
        sitting.Captures.ToString(CultureInfo.InvariantCulture),
        sitting.Pictures.ToString(CultureInfo.InvariantCulture),
        sitting.Deliveries.Count == 0 ? "" : string.Join(", ", sitting.Deliveries.Select(delivery =>
            string.Create(CultureInfo.InvariantCulture, $"{delivery.Destination} {delivery.Delivered} of {delivery.Delivered + delivery.Undelivered}"))),
        sitting.Deliveries.Count == 0 ? "" : string.Join(", ", sitting.Deliveries.Select(Kept)),
    ];

    /// <summary>What the archive is known to keep; nothing is claimed where the site does not ask.</summary>
    private static string Kept(DeliveryReply delivery) => delivery.Kept + delivery.Unconfirmed == 0
        ? "not asked"
        : string.Create(CultureInfo.InvariantCulture, $"{delivery.Kept} of {delivery.Kept + delivery.Unconfirmed + delivery.Undelivered}");

    private static string FolderOf(SittingReply sitting) => sitting.Folder.Length == 0 ? "(top)" : sitting.Folder;
}
