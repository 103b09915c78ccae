using CameraBridge.Persistence;
using CameraBridge.Pipeline;

namespace CameraBridge.Commands;

/// <summary>A picture that is held by itself, with the reason.</summary>
internal sealed record HeldCaptureReply(string Place, string Reason);

/// <summary>Deliveries to one destination: how many objects are there, how many are not, and the last word on those.</summary>
internal sealed record DeliveryReply(string Destination, int Delivered, int Undelivered, string? Outcome)
{
    /// <summary>How many the archive is known to keep.</summary>
    public int Kept { get; init; }

    /// <summary>How many are delivered and should be confirmed, and are not.</summary>
    public int Unconfirmed { get; init; }

    /// <summary>The last word on those.</summary>
    public string? ConfirmationOutcome { get; init; }
}

/// <summary>A sitting as an operator and a script see it.</summary>
internal sealed record SittingReply
{
    public long Sitting { get; init; }

    public required string Source { get; init; }

    public required string Folder { get; init; }

    /// <summary>Why it begins where it does.</summary>
    public required string Begins { get; init; }

    public SittingState State { get; init; }

    public int Captures { get; init; }

    /// <summary>Imaging objects made of it.</summary>
    public int Pictures { get; init; }

    public int Evidence { get; init; }

    public StepReply? Step { get; init; }

    public string? DecidedBy { get; init; }

    public IReadOnlyList<Reason> Held { get; init; } = [];

    public IReadOnlyList<HeldCaptureReply> HeldCaptures { get; init; } = [];

    public IReadOnlyList<DeliveryReply> Deliveries { get; init; } = [];

    public bool IsHeld => State == SittingState.Held || Held.Count > 0 || HeldCaptures.Count > 0;

    public bool IsUndelivered => Deliveries.Any(delivery => delivery.Undelivered > 0);

    public bool IsUnconfirmed => Deliveries.Any(delivery => delivery.Unconfirmed > 0);

    public static SittingReply Of(SittingReport report) => Of(report.Sitting, report.Match, report.Captures) with
    {
        Deliveries = [.. report.Deliveries.GroupBy(delivery => delivery.Destination, StringComparer.Ordinal).Select(ToReply)],
    };

    public static SittingReply Of(Sitting sitting, Match? match, IReadOnlyList<Capture> captures) => new()
    {
        Sitting = sitting.Id,
        Source = sitting.Source,
        Folder = sitting.Folder,
        Begins = sitting.Begins,
        State = sitting.State,
        Captures = captures.Count,
        Pictures = captures.Count(capture => capture.State == CaptureState.Encoded),
        Evidence = captures.Count(capture => capture.State == CaptureState.Evidence),
        Step = match?.StepJson is { } step ? StepReply.Read(step) : null,
        DecidedBy = match?.StepJson is null ? null : match.DecidedBy,
        Held = match?.HeldReasons ?? [],
        HeldCaptures = [.. captures
            .Where(capture => capture.State == CaptureState.Held)
            .Select(capture => new HeldCaptureReply(capture.Place, capture.HeldReason ?? ""))],
    };

    private static DeliveryReply ToReply(IGrouping<string, Delivery> deliveries)
    {
        Delivery[] undelivered = [.. deliveries.Where(delivery => delivery.State is not (DeliveryState.Stored or DeliveryState.StoredWithWarning))];
        Confirmation[] unconfirmed =
        [
            .. deliveries.Except(undelivered).Select(delivery => delivery.Confirmation).OfType<Confirmation>().Where(confirmation => confirmation.State != ConfirmationState.Kept),
        ];
        return new DeliveryReply(
            deliveries.Key, deliveries.Count() - undelivered.Length, undelivered.Length, undelivered.Select(delivery => delivery.Outcome).LastOrDefault(outcome => outcome is not null))
        {
            Kept = deliveries.Count(delivery => delivery.Confirmation?.State == ConfirmationState.Kept),
            Unconfirmed = unconfirmed.Length,
            ConfirmationOutcome = unconfirmed.Select(confirmation => confirmation.Words).LastOrDefault(words => words is not null),
        };
    }
}
