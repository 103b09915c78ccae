using System.Collections.Immutable;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Mapping;

namespace CameraBridge.Pipeline.Matches;

/// <summary>What a step is held against: the sitting's identity and circumstances, and how strict the site is.</summary>
internal sealed record MatchCircumstances
{
    public required Identity Identity { get; init; }

    /// <summary>When the first and the last picture were taken, by the camera's clock in the zone of the source; null when that cannot be told.</summary>
    public DateTimeOffset? First { get; init; }

    public DateTimeOffset? Last { get; init; }

    /// <summary>When the pictures lay here, in the zone of the source.</summary>
    public DateTime? Arrived { get; init; }

    /// <summary>What is known of the camera's clock.</summary>
    public CameraClock Clock { get; init; } = CameraClock.Unknown;

    /// <summary>The camera as it names itself; null where it does not.</summary>
    public string? Camera { get; init; }

    /// <summary>The camera's clock says that the pictures were not taken in one go: it jumped, or the folder holds more than one visit.</summary>
    public bool AreTimesApart { get; init; }

    public string? StationAETitle { get; init; }

    /// <summary>What the source's optic makes; null when not known.</summary>
    public string? Modality { get; init; }

    /// <summary>The sides that cues say of its pictures (R, L, B), but for those that a person said; empty when none says any.</summary>
    public IReadOnlyList<string> Sides { get; init; } = [];

    public bool RequireStation { get; init; }

    public bool RequireModality { get; init; }

    public int DaysAround { get; init; }

    /// <summary>Name of the worklist, or worklists, for messages.</summary>
    public required string Worklist { get; init; }

    /// <summary>What each worklist demands of its steps, by its name; what is not there is judged by the demands above.</summary>
    public IReadOnlyDictionary<string, WorklistConfiguration> Worklists { get; init; } = ImmutableDictionary<string, WorklistConfiguration>.Empty;

    /// <summary>The step under which the sitting before it in the same folder was filed; it counts for a proposal, never for a match.</summary>
    public WorklistStep? StepBefore { get; init; }

    /// <summary>These circumstances with the demands of the worklist that told a step.</summary>
    public MatchCircumstances For(WorklistStep step) => step.Worklist is { } name && Worklists.TryGetValue(name, out WorklistConfiguration? demands)
        ? this with { Worklist = $"the worklist {name}", RequireStation = demands.RequireStation, RequireModality = demands.RequireModality, DaysAround = demands.DaysAround }
        : this;

    /// <summary>
    /// When the first picture was taken by the hospital's time, as well as it is known: what the camera shows, corrected where its clock is known. Null where that was
    /// reset and nothing tells how it stands since.
    /// </summary>
    public DateTime? FirstAt => Corrected(First);

    public DateOnly? FirstDay => FirstAt is { } first ? DateOnly.FromDateTime(first) : null;

    public DateOnly? LastDay => Corrected(Last) is { } last ? DateOnly.FromDateTime(last) : null;

    private DateTime? Corrected(DateTimeOffset? shown) =>
        Clock.Estimate is { CorrectsDays: true } known ? shown?.DateTime - known.Offset
        : Clock.IsReset ? null
        : shown?.DateTime;
}

/// <summary>
/// One step held against the evidence. Values compare exactly, without leading and trailing spaces: leading zeros and letter case tell patients
/// apart.
/// </summary>
internal sealed record StepCheck(WorklistStep Step, IReadOnlyList<Reason> For, IReadOnlyList<Reason> Against, bool IdentityAgrees, double Distance)
{
    /// <summary>An open step that agrees with every piece of evidence.</summary>
    public bool Fits => Against.Count == 0;

    public static StepCheck Of(WorklistStep step, MatchCircumstances all)
    {
        MatchCircumstances circumstances = all.For(step);
        var reasonsFor = new List<Reason>();
        var against = new List<Reason>();
        double distance = 0;
        bool identity = CheckIdentity(step, circumstances.Identity, reasonsFor, against);
        distance += identity ? 0 : 1000;
        distance += CheckState(step, circumstances.Worklist, against);
        distance += CheckPlace(step, circumstances, reasonsFor, against);
        distance += CheckTime(step, circumstances, reasonsFor, against);
        CheckTwins(step, reasonsFor, against);
        distance += CheckSide(step, circumstances.Sides, reasonsFor, against);
        if (circumstances.StepBefore is { } before && before.Key == step.Key)
        {
            reasonsFor.Add(new Reason("same-as-before", "the pictures before them in the same folder were filed under it"));
            distance -= 40;
        }

        if (step.TextFlaw is { } flaw)
        {
            reasonsFor.Add(new Reason("text-flawed", $"note: text of {circumstances.Worklist} is not as declared ({flaw}); check how the patient's name looks"));
        }

        return new StepCheck(step, reasonsFor, against, identity, distance);
    }

    private static bool CheckIdentity(WorklistStep step, Identity identity, List<Reason> reasonsFor, List<Reason> against)
    {
        bool agrees = true;
        if (identity.AllPatientIDs.Count > 0)
        {
            agrees &= Tell(
                identity.AllPatientIDs.Contains(step.PatientID, StringComparer.Ordinal),
                new Reason("patient", "its patient ID is the one that was read"),
                new Reason("other-patient", "its patient ID is another one"));
        }

        if (identity.IssuerOfPatientID is { } issuer && step.IssuerOfPatientID is { } named)
        {
            agrees &= Tell(
                named == issuer,
                new Reason("issuer", "its issuer of the patient ID is the one that was read"),
                new Reason("other-issuer", "its issuer of the patient ID is another one"));
        }

        if (identity.AllAccessionNumbers.Count > 0)
        {
            agrees &= Tell(
                identity.AllAccessionNumbers.Contains(step.AccessionNumber, StringComparer.Ordinal),
                new Reason("order", "its accession number is the one that was read"),
                new Reason("other-order", "its accession number is another one"));
        }

        return agrees;

        bool Tell(bool same, Reason yes, Reason no)
        {
            (same ? reasonsFor : against).Add(same ? yes : no);
            return same;
        }
    }

    private static double CheckState(WorklistStep step, string worklist, List<Reason> against)
    {
        double distance = 0;
        if (step.StudyInstanceUID is null || step.PatientID is null)
        {
            string missing = step.StudyInstanceUID is null ? "Study Instance UID" : "Patient ID";
            against.Add(new Reason("answer-incomplete", $"{worklist} answered without {missing}, which every step must have; have its worklist corrected"));
            distance += 300;
        }

        if (step.IsClosed)
        {
            against.Add(new Reason("step-closed", "it is completed, discontinued or cancelled"));
            distance += 100;
        }
        else if (step.HasUnknownStatus)
        {
            against.Add(new Reason("step-status-unknown", "its status is a word that the standard does not have, so it may be closed"));
            distance += 50;
        }

        return distance;
    }

    /// <summary>What other worklists say of the same step.</summary>
    private static void CheckTwins(WorklistStep step, List<Reason> reasonsFor, List<Reason> against)
    {
        foreach (WorklistStep twin in step.Twins)
        {
            string both = $"the worklists {step.Worklist} and {twin.Worklist}";
            string[] differences = [.. StepUnion.Differences(step, twin)];
            if (differences.Length > 0)
            {
                against.Add(new Reason("worklists-differ", $"{both} tell it with different values of {string.Join(", ", differences)}; find out which is right, and have the other corrected"));
            }

            if (!step.IsClosed && (twin.IsClosed || twin.HasUnknownStatus))
            {
                against.Add(new Reason("step-closed", $"the worklist {twin.Worklist} says that it is completed, discontinued or cancelled, or has a status that is not understood"));
            }

            if (twin.Item.GetString(Tags.PatientName) is { } name && step.Item.GetString(Tags.PatientName) is { } own && !name.Trim('^').Equals(own.Trim('^'), StringComparison.OrdinalIgnoreCase))
            {
                reasonsFor.Add(new Reason("names-differ", $"note: {both} write the patient's name differently; the first one's is filed"));
            }

            reasonsFor.Add((step.StartDate, step.StartTime) == (twin.StartDate, twin.StartTime) || twin.StartDate is null
                ? new Reason("several-worklists", $"the worklist {twin.Worklist} has it too")
                : new Reason("times-differ", $"note: {both} plan it for different times; the first one's counts"));
        }
    }

    private static double CheckPlace(WorklistStep step, MatchCircumstances circumstances, List<Reason> reasonsFor, List<Reason> against)
    {
        double distance = 0;
        if (circumstances.StationAETitle is { } station)
        {
            if (step.StationAETitles.Contains(station, StringComparer.Ordinal))
            {
                reasonsFor.Add(new Reason("station", "it is planned for the station of this source"));
            }
            else
            {
                Note(circumstances.RequireStation, new Reason("other-station", "it is planned for another station"));
                distance += 20;
            }
        }

        if (circumstances.Modality is { } modality)
        {
            if (step.Modality == modality)
            {
                reasonsFor.Add(new Reason("modality", $"its modality is {modality}"));
            }
            else
            {
                Note(circumstances.RequireModality, new Reason("other-modality", $"its modality is not {modality}"));
                distance += 10;
            }
        }

        return distance;

        void Note(bool required, Reason reason)
        {
            if (required)
            {
                against.Add(reason);
            }
            else
            {
                reasonsFor.Add(reason with { Words = $"note: {reason.Words}, which the configuration allows" });
            }
        }
    }

    /// <summary>The other side of a pair may be the wrong patient, order or picture: nobody but a person can tell.</summary>
    private static double CheckSide(WorklistStep step, IReadOnlyList<string> sides, List<Reason> reasonsFor, List<Reason> against)
    {
        if (OrderValues.SideOf(step.Item) is not { } ordered || sides.Count == 0)
        {
            return 0;
        }

        if (ordered == "B" || sides.All(side => side == ordered))
        {
            reasonsFor.Add(new Reason("side", "its side is the one that cues say"));
            return 0;
        }

        against.Add(new Reason("other-side", $"it is for the {(ordered == "R" ? "right" : "left")} side, and a cue says another for some of the pictures"));
        return 15;
    }

    private static double CheckTime(WorklistStep step, MatchCircumstances circumstances, List<Reason> reasonsFor, List<Reason> against)
    {
        if (circumstances.FirstDay is not { } first || circumstances.LastDay is not { } last)
        {
            against.Add(new Reason(
                "time-unknown",
                circumstances.Clock.IsReset ? $"when the pictures were taken is not known, since {circumstances.Clock.Findings[0].Words}" : "when the pictures were taken is not known"));
            return 5;
        }

        if (circumstances.AreTimesApart)
        {
            against.Add(new Reason(
                "times-apart", "its pictures were taken more than a day apart by the camera's clock, so the clock jumped or there is more than one visit in the folder"));
        }

        if (step.StartDate is not { } day)
        {
            against.Add(new Reason("other-day", "it has no date that can be read"));
            return 30;
        }

        int days = day < first ? first.DayNumber - day.DayNumber : day > last ? day.DayNumber - last.DayNumber : 0;
        if (days > circumstances.DaysAround)
        {
            string side = day < first ? "before" : "after";
            against.Add(new Reason(
                "other-day",
                string.Create(CultureInfo.InvariantCulture, $"it is planned {days} days {side} the pictures were taken, by the camera's clock{(circumstances.Clock.Estimate is { CorrectsDays: true } ? " as it was corrected" : "")}")));
            return 5 + Math.Min(days, 100);
        }

        reasonsFor.Add(days == 0
            ? new Reason("day", "it is planned for the day of the pictures")
            : new Reason("near-day", string.Create(CultureInfo.InvariantCulture, $"it is planned within {days} day of the pictures")));
        return Math.Min(4.9, HoursApart(step, day, circumstances) / 10);
    }

    private static double HoursApart(WorklistStep step, DateOnly day, MatchCircumstances circumstances)
    {
        // The step's time is local time of the hospital without a zone, so is the camera's: they compare as they stand.
        DateTime planned = day.ToDateTime(step.StartTime ?? new TimeOnly(12, 0));
        return Math.Abs((circumstances.FirstAt!.Value - planned).TotalHours);
    }
}
