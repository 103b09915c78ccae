using System.Globalization;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// Decides from the evidence and the answers, and from nothing else: exactly one open step that agrees with every piece of evidence is the
/// match. Everything else is held, with its reasons and with proposals, best first. What nothing identifies may be filed under its likeliest step, if
/// the site has said so: nothing else may be the matter with it then, and no rule may speak against the step.
/// </summary>
internal static class MatchRules
{
    /// <summary>Proposals kept; whoever needs more looks in the worklist itself.</summary>
    public const int MostProposals = 20;

    /// <summary>What is to be asked at first.</summary>
    public static IReadOnlyList<WorklistQuestion> FirstQuestions(Identity identity, WorklistQuestion broad)
    {
        // A server that limits the answers of a broad question may leave out the very step; asked by ID, it cannot. Where the cues name several
        // patients nothing will be matched, but each one's steps are worth proposing.
        WorklistQuestion[] byIdentity =
        [
            .. identity.AllPatientIDs.Where(value => WorklistQuestion.IsPlain(value, 64)).Take(5).Select(value => new WorklistQuestion { PatientID = value }),
            .. identity.AllPatientIDs.Count > 0
                ? []
                : identity.AllAccessionNumbers.Where(value => WorklistQuestion.IsPlain(value, 16)).Take(5)
                    .Select(value => new WorklistQuestion { AccessionNumber = value }),
        ];
        return byIdentity.Length > 0 ? byIdentity : [broad];
    }

    /// <summary>What is to be asked when the first answers hold no step of the patient or order that was named: only for proposals.</summary>
    public static IReadOnlyList<WorklistQuestion> FurtherQuestions(Identity identity, WorklistQuestion broad, IReadOnlyList<WorklistAnswers> answers)
    {
        bool known = answers.Any(answer => answer.Steps.Any(step =>
            identity.AllPatientIDs.Contains(step.PatientID, StringComparer.Ordinal)
            || identity.AllAccessionNumbers.Contains(step.AccessionNumber, StringComparer.Ordinal)));
        if (known || answers.Any(answer => answer.Failure is not null))
        {
            return [];
        }

        WorklistQuestion[] byOrder =
        [
            .. identity.AllAccessionNumbers.Where(value => WorklistQuestion.IsPlain(value, 16)).Take(5).Select(value => new WorklistQuestion { AccessionNumber = value }),
        ];
        return [.. byOrder.Append(broad).Where(question => answers.All(answer => answer.Question != question))];
    }

    /// <summary>Decides.</summary>
    /// <param name="sittingId">The sitting.</param>
    /// <param name="circumstances">What is known of it.</param>
    /// <param name="answers">What the worklist answered.</param>
    /// <param name="now">When it is decided.</param>
    /// <param name="inferred">What joint matching says, where nothing identifies the sitting; else null.</param>
    public static Match Decide(
        long sittingId, MatchCircumstances circumstances, IReadOnlyList<WorklistAnswers> answers, DateTimeOffset now, Inferred? inferred = null)
    {
        StepCheck[] checks =
        [
            .. StepUnion.Of(answers)
                .Select(step => StepCheck.Of(step, circumstances))
                .OrderByDescending(check => inferred?.Of(check.Step)?.Probability ?? 0).ThenBy(check => check.Distance),
        ];
        StepCheck[] fitting = [.. checks.Where(check => check.Fits)];
        List<Reason> reasons = [.. circumstances.Identity.Problems];
        AddAnswerReasons(reasons, circumstances, answers);
        if (circumstances.Identity.IsNamed && answers.All(answer => answer.Failure is null))
        {
            AddStepReasons(reasons, circumstances, answers, checks, fitting);
        }

        var match = new Match
        {
            SittingId = sittingId,
            DecidedAt = now,
            Clock = circumstances.Clock,
            Inquiry = Inquiry.Write(circumstances.Worklist, answers, [.. checks.Select(check => check.Step)]),
        };
        if (reasons is [{ Code: "no-label" }] && checks is [{ Fits: true } likeliest, ..]
            && inferred?.Of(likeliest.Step) is { } likelihood && likelihood.Probability >= inferred.FileFrom)
        {
            return match with { StepJson = likeliest.Step.ToJson(), Evidence = [likelihood.Evidence, .. likeliest.For, .. circumstances.Clock.Findings] };
        }

        return reasons.Count == 0
            ? match with
            {
                StepJson = fitting[0].Step.ToJson(),
                Evidence = [.. circumstances.Identity.Evidence, .. fitting[0].For, .. circumstances.Clock.Evidence, new Reason("only-step", "no other open step fits")],
            }
            : match with
            {
                Evidence = [.. circumstances.Identity.Evidence, .. inferred is null ? [] : new[] { inferred.None }, .. circumstances.Clock.Evidence],
                HeldReasons = reasons,
                Proposals = [.. checks.Take(MostProposals).Select(check => ToProposal(check, inferred?.Of(check.Step)))],
            };
    }

    private static Proposal ToProposal(StepCheck check, Likelihood? likelihood) => likelihood is null
        ? new Proposal(check.Step.ToJson(), check.For, check.Against)
        : new Proposal(check.Step.ToJson(), [likelihood.Evidence, .. check.For], check.Against) { Probability = likelihood.Probability };

    private static void AddAnswerReasons(List<Reason> reasons, MatchCircumstances circumstances, IReadOnlyList<WorklistAnswers> answers)
    {
        foreach (WorklistAnswers failed in answers.Where(answer => answer.Failure is not null).DistinctBy(answer => answer.Failure))
        {
            reasons.Add(failed.Failure! with { Words = $"{failed.Failure.Words} It is asked again by itself." });
        }

        if (answers.FirstOrDefault(answer => answer.CutOff) is { } cut)
        {
            reasons.Add(new Reason("answers-cut-off", string.Create(
                CultureInfo.InvariantCulture,
                $"{Begin(cut.Worklist is { } name ? $"the worklist {name}" : circumstances.Worklist)} has more than {cut.Total} answers, and the one that fits may be among the rest; ask for fewer days or for the station, or raise the answer limit.")));
        }
    }

    private static void AddStepReasons(
        List<Reason> reasons, MatchCircumstances circumstances, IReadOnlyList<WorklistAnswers> answers, StepCheck[] checks, StepCheck[] fitting)
    {
        if (fitting.Length > 1)
        {
            // That several IDs were read is a reason of its own already, and their steps then are those of several patients anyway.
            if (circumstances.Identity.AllPatientIDs.Count > 1 && reasons.Count > 0)
            {
                return;
            }

            int patients = fitting.Select(check => (check.Step.PatientID, check.Step.IssuerOfPatientID)).Distinct().Count();
            reasons.Add(patients > 1
                ? new Reason("several-patients", "The ID belongs to more than one patient of the worklist, of different issuers; assign by hand.")
                : new Reason("several-steps", string.Create(
                    CultureInfo.InvariantCulture, $"{fitting.Length} open steps of the patient fit; choose one of the proposals.")));
            return;
        }

        if (fitting.Length == 1)
        {
            return;
        }

        StepCheck[] own = [.. checks.Where(check => check.IdentityAgrees)];
        if (own.Length > 0)
        {
            reasons.AddRange(own.SelectMany(check => check.Against).DistinctBy(reason => reason.Code)
                .Select(reason => reason with { Words = WhyNot(own.Length, reason) }));
        }
        else if (circumstances.Identity.Problems.Count == 0 && !answers.Any(answer => answer.CutOff))
        {
            // Of answers that were cut off nobody can say what is not among them.
            reasons.Add(WhyUnknown(circumstances, checks));
        }
    }

    private static string WhyNot(int steps, Reason reason) => reason.Code == "answer-incomplete"
        ? $"A step that was found cannot be used: {reason.Words}."
        : steps == 1 ? $"The one step that was found does not fit: {reason.Words}." : $"No step that was found fits; of some: {reason.Words}.";

    private static Reason WhyUnknown(MatchCircumstances circumstances, StepCheck[] checks)
    {
        // "The worklist A has no step", "None of the worklists A and B has a step".
        bool several = circumstances.Worklists.Count > 1;
        string worklist = several ? $"One of {circumstances.Worklist}" : Begin(circumstances.Worklist);
        string none = several ? $"None of {circumstances.Worklist} has a step" : $"{worklist} has no step";
        if (checks.Any(check => check.Against.Any(reason => reason.Code == "other-issuer") && check.For.Any(reason => reason.Code == "patient")))
        {
            return new Reason("issuer-differs", $"{worklist} knows the ID, but of another issuer; find out which patient is meant and assign by hand.");
        }

        if (checks.Any(check => check.For.Any(reason => reason.Code is "patient" or "order")))
        {
            return new Reason("order-of-another", $"{worklist} knows the patient and the accession number, but not together; find out which is right and assign by hand.");
        }

        return circumstances.Identity.AllPatientIDs.Count > 0
            ? new Reason("patient-unknown", $"{none} for the patient ID that was read; order one, or assign by hand.")
            : new Reason("order-unknown", $"{none} for the accession number that was read; order one, or assign by hand.");
    }

    /// <summary>"the worklist X" at the beginning of a sentence.</summary>
    private static string Begin(string name) => char.ToUpperInvariant(name[0]) + name[1..];
}
