namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>What can be said of a sitting or a step beside its time; null where it is not known, which then counts neither for nor against.</summary>
/// <param name="Optic">Name of the optic.</param>
/// <param name="Modality">Modality (0008,0060).</param>
/// <param name="BodyPart">Any word for the body part that both sides use alike.</param>
/// <param name="Side">"R", "L" or "B" (both).</param>
internal sealed record JointTraits(string? Optic = null, string? Modality = null, string? BodyPart = null, string? Side = null);

/// <summary>A sitting of the source, as far as joint matching looks at it.</summary>
internal sealed record JointSitting
{
    /// <summary>When the first picture was taken, by the camera's own clock; without zone, like a worklist's times.</summary>
    public required DateTime FirstPictureAt { get; init; }

    /// <summary>At least 1; 0 where it is not known.</summary>
    public int Pictures { get; init; }

    public JointTraits Traits { get; init; } = new();

    /// <summary>When its pictures lay here, by this machine's clock in the zone of the source: it began no later. Null: not known.</summary>
    public DateTime? ArrivedAt { get; init; }

    /// <summary>It is identified; then <see cref="StepIndex"/> is the truth, and what is left to say of it is how late it was.</summary>
    public bool IsIdentified { get; init; }

    /// <summary>Index of the step it is identified as; -1: none of them. Counts only where it is identified.</summary>
    public int StepIndex { get; init; } = -1;
}

/// <summary>Where a step is planned, as seen from the source whose sittings are matched.</summary>
internal enum JointStation
{
    /// <summary>The step or the source names no station.</summary>
    Unknown,

    Own,

    Other,
}

/// <summary>An open step that a sitting of the source may belong to.</summary>
internal sealed record JointStep
{
    /// <summary>When it is planned, in the hospital's local time.</summary>
    public required DateTime ScheduledAt { get; init; }

    /// <summary>The worklist names a time and not only a day; without, any time of <see cref="ScheduledAt"/>'s day is as likely.</summary>
    public bool HasTime { get; init; } = true;

    public JointStation Station { get; init; } = JointStation.Own;

    public JointTraits Traits { get; init; } = new();

    /// <summary>Pictures that such a step usually brings, above 0; null: not known.</summary>
    public double? ExpectedPictures { get; init; }
}

/// <summary>All sittings of one source over the relevant days, and all steps that they may belong to.</summary>
/// <param name="Sittings">Any number, in any order.</param>
/// <param name="Steps">Any number, in any order.</param>
/// <param name="Clock">What is known of the camera's clock before.</param>
/// <param name="Parameters">The site's habits.</param>
internal sealed record JointProblem(IReadOnlyList<JointSitting> Sittings, IReadOnlyList<JointStep> Steps, ClockBelief Clock, JointParameters Parameters)
{
    /// <summary>Until when the source's sittings are all there, in the hospital's local time: a step of later on has not failed to bring one. Null: for ever.</summary>
    public DateTime? ObservedUntil { get; init; }
}

/// <summary>How a camera's clock stands: what it shows minus what the time is, in minutes.</summary>
/// <param name="MeanMinutes">Above 0: it is fast.</param>
/// <param name="DeviationMinutes">Standard deviation.</param>
internal sealed record ClockReading(double MeanMinutes, double DeviationMinutes);

/// <summary>What joint matching found.</summary>
internal sealed record JointResult
{
    /// <summary>[sitting][step]: the probability that the sitting belongs to the step. A row and its <see cref="None"/> sum to 1.</summary>
    public required double[][] Pairs { get; init; }

    /// <summary>[sitting]: the probability that it belongs to none of the steps.</summary>
    public required double[] None { get; init; }

    /// <summary>The camera's clock at <see cref="ClockBelief.At"/>, after all that was seen.</summary>
    public required ClockReading Clock { get; init; }

    /// <summary>Share of the probability that was summed exactly, without leaving out a pair; 1 on small days.</summary>
    public double ExactShare { get; init; }

    /// <summary>Share that was found by belief propagation alone, as no exact sum was affordable.</summary>
    public double PropagatedShare { get; init; }
}
