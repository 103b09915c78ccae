using System.CommandLine;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Persistence;

namespace CameraBridge.Commands;

/// <summary><c>held assign</c>: a person says which order a held sitting belongs to, under their name.</summary>
internal static class HeldAssign
{
    private const int LongestName = 64;

    public static Verb Build(Terminal terminal)
    {
        Argument<long> sittingId = new("SITTING") { Description = "Its number in 'held list'." };
        Option<string?> config = CommonOptions.Config();
        Option<string?> step = new("--step") { Description = "Scheduled Procedure Step ID of the step it belongs to.", HelpName = "SPSID" };
        Option<string?> accession = new("--accession") { Description = "Accession number of the order it belongs to.", HelpName = "NUMBER" };
        Option<int?> number = new("--proposal") { Description = "Number of a proposal in 'held show'.", HelpName = "N" };
        Option<string> by = new("--by") { Description = "Your name; it is recorded with the decision.", HelpName = "NAME", Required = true };
        Option<string?> against = new("--against-evidence")
        {
            Description = "Why it is right although evidence speaks against it; recorded too.",
            HelpName = "REASON",
        };
        Option<bool> dryRun = new("--dry-run") { Description = "Show what would happen and change nothing." };
        Verb verb = new(
            "assign",
            "File a held sitting under an order. Shows what happens; refuses where evidence speaks against it, unless told why it is right.",
            ExitCodes.UsageOrConfiguration,
            ExitCodes.Held,
            ExitCodes.Undelivered)
        {
            sittingId, config, step, accession, number, by, against, dryRun,
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
            Choice choice = new(parsed.GetValue(step), parsed.GetValue(accession), parsed.GetValue(number));
            string name = CheckName(parsed.GetValue(by)!);
            SqlitePipelineDatabase database = await HeldCommand.OpenStateAsync(parsed.GetValue(config), cancellation).ConfigureAwait(false);
            await using (database.ConfigureAwait(false))
            {
                HeldSitting held = await HeldCommand.FindAsync(database, parsed.GetValue(sittingId), cancellation).ConfigureAwait(false);
                Proposal chosen = Choose(held, choice);
                Match match = Decide(held, chosen, name, parsed.GetValue(against));
                bool dry = parsed.GetValue(dryRun);
                if (!dry && !await database.AssignAsync(match, cancellation).ConfigureAwait(false))
                {
                    throw new CommandException(
                        ExitCodes.UsageOrConfiguration,
                        "not-held",
                        FormattableString.Invariant($"Sitting {held.Sitting.Id} is not held as a whole any more. 'camerabridge held show {held.Sitting.Id}' tells what it waits for."));
                }

                Report(terminal, parsed.GetValue(CommonOptions.Json), held, chosen, match, dry);
            }
        });
        return verb;
    }

    private static string CheckName(string name)
    {
        name = name.Trim();
        return name.Length is > 1 and <= LongestName && !name.Any(char.IsControl) && !name.Equals("rules", StringComparison.OrdinalIgnoreCase)
            ? name
            : throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", "--by needs the name of a person, 2 to 64 characters.");
    }

    private static Proposal Choose(HeldSitting held, Choice choice)
    {
        IReadOnlyList<Proposal> proposals = held.Match?.Proposals ?? [];
        if (choice.Number is { } number)
        {
            return number >= 1 && number <= proposals.Count
                ? proposals[number - 1]
                : throw new CommandException(ExitCodes.UsageOrConfiguration, "no-such-step", FormattableString.Invariant($"There is no proposal {number}; this sitting has {proposals.Count}."));
        }

        Proposal[] fitting = [.. proposals.Where(proposal => choice.Fits(StepReply.Read(proposal.StepJson)))];
        return fitting.Length switch
        {
            1 => fitting[0],
            0 => throw new CommandException(
                ExitCodes.UsageOrConfiguration,
                "no-such-step",
                FormattableString.Invariant($"The worklist told of no step '{choice.Words}' for this sitting. 'camerabridge held show {held.Sitting.Id}' lists its proposals.")),
            _ => throw new CommandException(
                ExitCodes.UsageOrConfiguration,
                "several-steps",
                FormattableString.Invariant($"'{choice.Words}' names {fitting.Length} steps. Choose one by --proposal; 'camerabridge held show {held.Sitting.Id}' numbers them.")),
        };
    }

    private static Match Decide(HeldSitting held, Proposal chosen, string name, string? againstEvidence)
    {
        if (chosen.Against.Count > 0 && string.IsNullOrWhiteSpace(againstEvidence))
        {
            throw new CommandException(
                ExitCodes.Held,
                "against-evidence",
                $"Not assigned, since evidence speaks against it: {string.Join("; ", chosen.Against.Select(reason => reason.Words))}. "
                + "If it is right all the same, say why with --against-evidence \"REASON\".");
        }

        List<Reason> evidence = [.. chosen.For, new Reason("assigned", "assigned by a person")];
        if (chosen.Against.Count > 0)
        {
            evidence.AddRange(chosen.Against.Select(reason => new Reason($"overruled-{reason.Code}", reason.Words)));
            evidence.Add(new Reason("overruled", againstEvidence!.Trim()));
        }

        return held.Match! with
        {
            StepJson = chosen.StepJson,
            Evidence = evidence,
            HeldReasons = [],
            DecidedBy = name,
            DecidedAt = TimeProvider.System.GetUtcNow(),
        };
    }

    private static void Report(Terminal terminal, bool json, HeldSitting held, Proposal chosen, Match match, bool dry)
    {
        StepReply step = StepReply.Read(chosen.StepJson);
        if (json)
        {
            JsonReply.Write(terminal.Out, new { Sitting = held.Sitting.Id, Assigned = !dry, Step = step, match.DecidedBy, match.Evidence });
            return;
        }

        terminal.Out.WriteLine(FormattableString.Invariant(
            $"Sitting {held.Sitting.Id}, source {held.Sitting.Source}, folder {held.Sitting.Folder}, {held.Captures.Count} captures {(dry ? "would be" : "will be")} filed under"));
        terminal.Out.WriteLine($"  order    {step.OrderLine()}");
        terminal.Out.WriteLine($"  patient  {step.PatientLine()}");
        terminal.Out.WriteLine($"  decided by {match.DecidedBy}");
        terminal.Out.WriteLine(dry ? "Nothing was changed (--dry-run)." : "Done. The running service, or the next 'once', makes and delivers the objects.");
    }

    private sealed record Choice(string? StepID, string? AccessionNumber, int? Number)
    {
        public string Words => StepID ?? AccessionNumber ?? "";

        public bool Fits(StepReply step) => StepID is not null ? step.StepID == StepID.Trim() : step.AccessionNumber == AccessionNumber?.Trim();
    }
}
