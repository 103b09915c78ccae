using System.CommandLine;
using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Web;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;

namespace CameraBridge.Commands;

/// <summary><c>held assign</c>: a person says which order a held sitting belongs to, under their name. For sittings that are filed see <see cref="HeldAgain"/>.</summary>
internal static class HeldAssign
{
    /// <summary>Codes of held reasons by which the sitting's own evidence contradicts itself.</summary>
    private static readonly string[] ConflictCodes = ["two-patients", "two-issuers", "several-orders", "contradiction", "sitting-in-doubt"];

    public static Verb Build(Terminal terminal)
    {
        Argument<long> sittingId = new("SITTING") { Description = "Its number in 'held list'." };
        Option<string?> config = CommonOptions.Config();
        Option<string?> step = new("--step") { Description = "Scheduled Procedure Step ID of the step it belongs to.", HelpName = "SPSID" };
        Option<string?> accession = new("--accession") { Description = "Accession number of the order it belongs to.", HelpName = "NUMBER" };
        Option<int?> number = new("--proposal") { Description = "Number of a proposal in 'held show'.", HelpName = "N" };
        Option<string> by = DecidedBy.Option();
        Option<string?> against = new("--against-evidence")
        {
            Description = "Why it is right although evidence speaks against it; recorded too.",
            HelpName = "REASON",
        };
        Option<string[]> say = HeldSaying.SayOption();
        Option<string[]> pictures = HeldSaying.ForOption();
        Option<bool> dryRun = new("--dry-run") { Description = "Show what would happen and change nothing." };
        Verb verb = new(
            "assign",
            "File a held sitting under an order. Shows what happens; refuses where evidence speaks against it, unless told why it is right. Where only captures of a filed sitting are held, naming its order again tries them again.",
            ExitCodes.UsageOrConfiguration,
            ExitCodes.Held,
            ExitCodes.Undelivered)
        {
            sittingId, config, step, accession, number, by, say, pictures, against, dryRun,
        };
        verb.Validators.Add(result =>
        {
            bool[] choices = [result.GetValue(step) is not null, result.GetValue(accession) is not null, result.GetValue(number) is not null];
            if (choices.Count(given => given) != 1)
            {
                result.AddError("Name the order by exactly one of --step, --accession and --proposal.");
            }
        });
        verb.SetAction(async (parsed, cancellation) =>
        {
            OrderChoice choice = new(parsed.GetValue(step), parsed.GetValue(accession), parsed.GetValue(number));
            string name = DecidedBy.Check(parsed.GetValue(by)!);
            SiteConfiguration site = ConfigurationFile.Load(ConfigurationFile.Locate(parsed.GetValue(config)));
            IPipelineDatabase database = await HeldCommand.OpenStateAsync(site, cancellation).ConfigureAwait(false);
            await using (database.ConfigureAwait(false))
            {
                HeldSitting held = await HeldCommand.FindAsync(database, parsed.GetValue(sittingId), cancellation).ConfigureAwait(false);
                bool again = held.Sitting.State == SittingState.Matched;
                Match match = again
                    ? await HeldAgain.DecideAsync(site, database, held, choice, name, cancellation).ConfigureAwait(false)
                    : await DecideAsync(site, database, held, choice, name, parsed.GetValue(against), cancellation).ConfigureAwait(false);
                IReadOnlyList<Cue> saying = HeldSaying.Read(site, parsed.GetValue(say) ?? [], parsed.GetValue(pictures) ?? [], held);
                match = saying.Count == 0 ? match : match with
                {
                    Said = saying,
                    Evidence = [.. match.Evidence, new Reason("said", FormattableString.Invariant($"a person said how {saying.Count} pictures were taken"))],
                };
                bool dry = parsed.GetValue(dryRun);
                if (!dry && !await (again ? database.MakeAgainAsync(match, cancellation) : database.AssignAsync(match with { PerformedStepUID = site.PerformedStep is null ? null : Uids.NewFromUuid() }, cancellation)).ConfigureAwait(false))
                {
                    throw new CommandException(
                        ExitCodes.UsageOrConfiguration,
                        "not-held",
                        FormattableString.Invariant($"Sitting {held.Sitting.Id} does not wait for a decision now: it is not complete yet, or was decided in the meantime. 'camerabridge held list' tells what waits."));
                }

                Report(terminal, parsed.GetValue(CommonOptions.Json), held, match, dry, again);
            }
        });
        return verb;
    }

    /// <returns>The step, with what speaks for and against it, and what the worklist was asked for it, if it was.</returns>
    private static async Task<(Proposal Chosen, string? Inquiry)> ChooseAsync(
        SiteConfiguration site, IPipelineDatabase database, HeldSitting held, OrderChoice choice, CancellationToken cancellation)
    {
        if (choice.Number is { } number)
        {
            IReadOnlyList<Proposal> proposals = held.Match?.Proposals ?? [];
            return number >= 1 && number <= proposals.Count
                ? (proposals[number - 1], null)
                : throw new CommandException(
                    ExitCodes.UsageOrConfiguration, "no-such-step", FormattableString.Invariant($"There is no proposal {number}; this sitting has {proposals.Count}."));
        }

        StepSearchResult found = await new StepSearch(site, database, TimeProvider.System)
            .FindAsync(held.Sitting, choice.StepID, choice.AccessionNumber, cancellation).ConfigureAwait(false);
        return found.Steps.Count switch
        {
            1 => (found.Steps[0], found.Inquiry),
            0 when found.Failure is { } failure => throw new CommandException(ExitCodes.Undelivered, failure.Code, failure.Words),
            0 => throw new CommandException(
                ExitCodes.UsageOrConfiguration,
                "no-such-step",
                FormattableString.Invariant($"Neither the proposals nor the worklist have a step '{choice.Words}'. 'camerabridge held show {held.Sitting.Id}' lists the proposals.")),
            _ => throw new CommandException(
                ExitCodes.UsageOrConfiguration,
                "several-steps",
                FormattableString.Invariant($"'{choice.Words}' names {found.Steps.Count} steps. Name the one you mean by its other number, or by --proposal.")),
        };
    }

    /// <summary>
    /// Reasons of the sitting itself that speak against any step: whichever is chosen, some evidence names another, or its pictures may be several
    /// patients'.
    /// </summary>
    private static IEnumerable<Reason> Conflicts(HeldSitting held) => held.Match?.HeldReasons.Where(reason => ConflictCodes.Contains(reason.Code)) ?? [];

    private static async Task<Match> DecideAsync(
        SiteConfiguration site, IPipelineDatabase database, HeldSitting held, OrderChoice choice, string name, string? againstEvidence, CancellationToken cancellation)
    {
        (Proposal chosen, string? inquiry) = await ChooseAsync(site, database, held, choice, cancellation).ConfigureAwait(false);
        return Decide(held, chosen, name, againstEvidence) with { Inquiry = inquiry ?? held.Match?.Inquiry };
    }

    private static Match Decide(HeldSitting held, Proposal chosen, string name, string? againstEvidence)
    {
        Reason[] against = [.. Conflicts(held), .. chosen.Against];
        if (against.Length > 0 && string.IsNullOrWhiteSpace(againstEvidence))
        {
            throw new CommandException(
                ExitCodes.Held,
                "against-evidence",
                $"Not assigned, since evidence speaks against it: {string.Join("; ", against.Select(reason => reason.Words.TrimEnd('.')))}. "
                + "If it is right all the same, say why with --against-evidence \"REASON\".");
        }

        DataSet step = DicomJson.ReadArray(Encoding.UTF8.GetBytes(chosen.StepJson))[0];
        if (step.GetString(Tags.StudyInstanceUID) is null || step.GetString(Tags.PatientID) is null)
        {
            throw new CommandException(
                ExitCodes.Held, "step-unusable", "Not assigned: the worklist gave this step without a Study Instance UID or a Patient ID. Have it corrected there first.");
        }

        List<Reason> evidence = [.. chosen.For, new Reason("assigned", "assigned by a person")];
        if (against.Length > 0)
        {
            evidence.AddRange(against.Select(reason => new Reason($"overruled-{reason.Code}", reason.Words)));
            evidence.Add(new Reason("overruled", againstEvidence!.Trim()));
        }

        return new Match
        {
            SittingId = held.Sitting.Id,
            StepJson = chosen.StepJson,
            Evidence = evidence,
            DecidedBy = name,
            DecidedAt = TimeProvider.System.GetUtcNow(),
        };
    }

    private static void Report(Terminal terminal, bool json, HeldSitting held, Match match, bool dry, bool again)
    {
        StepReply step = StepReply.Read(match.StepJson!);
        int captures = again ? held.Captures.Count(capture => capture.State == CaptureState.Held) : held.Captures.Count;
        if (json)
        {
            JsonReply.Write(terminal.Out, new { Sitting = held.Sitting.Id, Assigned = !dry, Again = again, Captures = captures, Step = step, match.DecidedBy, match.Evidence });
            return;
        }

        terminal.Out.WriteLine(FormattableString.Invariant(
            $"Sitting {held.Sitting.Id}, source {held.Sitting.Source}, folder {held.Sitting.Folder}, {captures} {(again ? "held captures" : "captures")} {(dry ? "would be" : "will be")} {(again ? "tried again" : "filed")} under"));
        terminal.Out.WriteLine($"  order    {step.OrderLine()}");
        terminal.Out.WriteLine($"  patient  {step.PatientLine()}");
        terminal.Out.WriteLine($"  decided by {match.DecidedBy}");
        terminal.Out.WriteLine(dry ? "Nothing was changed (--dry-run)." : "Done. The running service, or the next 'once', makes and delivers the objects.");
    }
}
