using System.CommandLine;
using System.Globalization;
using System.Text.Json;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Pipeline.Sittings;

namespace CameraBridge.Commands;

/// <summary><c>held list</c>, <c>held show</c>, <c>held assign</c>: what waits for a person, why, and the person's decision.</summary>
internal static class HeldCommand
{
    public static Verb Build(Terminal terminal) => new(
        "held", "What is held, why, and assigning it to an order. This view shows patients: it is for the operator's eyes.", ExitCodes.UsageOrConfiguration, ExitCodes.Held, ExitCodes.Undelivered)
    {
        List(terminal),
        Show(terminal),
        HeldAssign.Build(terminal),
    };

    /// <summary>Opens the state of a site, and makes none: who looks at what is held must not leave a file that the service cannot write.</summary>
    public static async Task<IPipelineDatabase> OpenStateAsync(SiteConfiguration site, CancellationToken cancellation) =>
        site.StateServer is not null || File.Exists(site.StateFile)
            ? await PipelineDatabase.OpenAsync(site, TimeProvider.System, cancellation).ConfigureAwait(false)
            : throw new CommandException(
                ExitCodes.UsageOrConfiguration, "no-state", $"There is no state {site.StateFile} yet: nothing was ever taken here, or this is another site's configuration.");

    private static Task<IPipelineDatabase> OpenStateAsync(string? config, CancellationToken cancellation) =>
        OpenStateAsync(ConfigurationFile.Load(ConfigurationFile.Locate(config)), cancellation);

    public static async Task<HeldSitting> FindAsync(IPipelineDatabase database, long sittingId, CancellationToken cancellation)
    {
        if ((await database.GetHeldAsync(cancellation).ConfigureAwait(false)).FirstOrDefault(held => held.Sitting.Id == sittingId) is { } found)
        {
            return found;
        }

        string words = await database.GetMatchAsync(sittingId, cancellation).ConfigureAwait(false) is { StepJson: { } step }
            ? FormattableString.Invariant($"Nothing of sitting {sittingId} is held: it {HeldAgain.FiledUnder(WorklistStep.FromJson(step))}")
            : FormattableString.Invariant($"Sitting {sittingId} is not held, or there is none of this number. 'camerabridge held list' shows what is.");
        throw new CommandException(ExitCodes.UsageOrConfiguration, "not-held", words);
    }

    /// <summary>A sitting that is held, or else one that is filed.</summary>
    private static async Task<HeldSitting> FindAnyAsync(IPipelineDatabase database, long sittingId, CancellationToken cancellation) =>
        await database.GetSittingAsync(sittingId, cancellation).ConfigureAwait(false) is { State: SittingState.Matched } filed
            ? new HeldSitting(
                filed,
                await database.GetMatchAsync(sittingId, cancellation).ConfigureAwait(false),
                await database.GetCapturesOfSittingAsync(sittingId, cancellation).ConfigureAwait(false))
            : await FindAsync(database, sittingId, cancellation).ConfigureAwait(false);

    private static Verb List(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Verb verb = new("list", "Every sitting and picture that is held, oldest first.", ExitCodes.UsageOrConfiguration, ExitCodes.Held, ExitCodes.Undelivered) { config };
        verb.SetAction(async (parsed, cancellation) =>
        {
            IPipelineDatabase database = await OpenStateAsync(parsed.GetValue(config), cancellation).ConfigureAwait(false);
            await using (database.ConfigureAwait(false))
            {
                IReadOnlyList<HeldSitting> held = await database.GetHeldAsync(cancellation).ConfigureAwait(false);
                SittingReply[] replies = [.. held.Select(sitting => SittingReply.Of(sitting.Sitting, sitting.Match, sitting.Captures))];
                if (parsed.GetValue(CommonOptions.Json))
                {
                    JsonReply.Write(terminal.Out, new { Held = replies });
                }
                else if (replies.Length == 0)
                {
                    terminal.Out.WriteLine("Nothing is held.");
                }
                else
                {
                    TextTable.Write(
                        terminal.Out,
                        ["sitting", "source", "folder", "captures", "held", "why"],
                        held.Zip(replies, (sitting, reply) => (IReadOnlyList<string>)
                        [
                            Number(reply.Sitting), reply.Source, reply.Folder, Number(reply.Captures),
                            sitting.Sitting.State is SittingState.Held or SittingState.Closed ? "whole" : Number(reply.HeldCaptures.Count), Why(reply),
                        ]));
                    terminal.Out.WriteLine();
                    terminal.Out.WriteLine("camerabridge held show SITTING tells more; camerabridge held assign SITTING files it under an order, or tries held captures of a filed sitting again.");
                }

                return replies.Length == 0 ? ExitCodes.AllWell : ExitCodes.Held;
            }
        });
        return verb;
    }

    private static Verb Show(Terminal terminal)
    {
        Option<string?> config = CommonOptions.Config();
        Argument<long> sittingId = new("SITTING") { Description = "Its number in 'held list', or in the report of 'once'." };
        Verb verb = new(
            "show", "One sitting, held or filed: its captures, why it is held or filed, evidence, what the worklist was asked, and proposals by number.", ExitCodes.UsageOrConfiguration, ExitCodes.Undelivered)
        {
            sittingId,
            config,
        };
        verb.SetAction(async (parsed, cancellation) =>
        {
            IPipelineDatabase database = await OpenStateAsync(parsed.GetValue(config), cancellation).ConfigureAwait(false);
            await using (database.ConfigureAwait(false))
            {
                HeldSitting held = await FindAnyAsync(database, parsed.GetValue(sittingId), cancellation).ConfigureAwait(false);
                IReadOnlyList<Cue> cues = InOrder(await database.GetCuesOfSittingAsync(held.Sitting.Id, cancellation).ConfigureAwait(false), held.Captures);
                held = held with { Match = await FiledBeside.TellAsync(database, held.Sitting, held.Match, cancellation).ConfigureAwait(false) };
                if (parsed.GetValue(CommonOptions.Json))
                {
                    WriteJson(terminal, held, cues);
                }
                else
                {
                    WriteText(terminal.Out, held, cues);
                }
            }
        });
        return verb;
    }

    private static void WriteJson(Terminal terminal, HeldSitting held, IReadOnlyList<Cue> cues)
    {
        using JsonDocument? inquiry = held.Match?.Inquiry is { Length: > 0 } text ? JsonDocument.Parse(text) : null;
        JsonReply.Write(terminal.Out, new
        {
            Sitting = SittingReply.Of(held.Sitting, held.Match, held.Captures),
            Why = EvidenceSentence.Of(held.Match, held.Captures, cues),
            held.Match?.Clock,
            Captures = held.Captures.Select(capture => new { capture.Id, capture.Place, capture.State, capture.TakenAt, capture.TakenAtOrigin, capture.HeldReason }),
            Cues = cues,
            Evidence = held.Match?.Evidence ?? [],
            Proposals = (held.Match?.Proposals ?? []).Select((proposal, index) => new { Number = index + 1, Step = StepReply.Read(proposal.StepJson), proposal.Probability, proposal.For, proposal.Against }),
            Inquiry = inquiry?.RootElement,
        });
    }

    private static void WriteText(TextWriter writer, HeldSitting held, IReadOnlyList<Cue> cues)
    {
        SittingReply reply = SittingReply.Of(held.Sitting, held.Match, held.Captures);
        writer.WriteLine(FormattableString.Invariant($"Sitting {reply.Sitting}, source {reply.Source}, folder {(reply.Folder.Length == 0 ? "(top)" : reply.Folder)}"));
        Section(writer, "In one sentence", EvidenceSentence.Of(held.Match, held.Captures, cues) is { Length: > 0 } sentence ? [sentence] : []);
        Section(writer, "Why it is held", [.. reply.Held.Select(reason => reason.Words), .. reply.HeldCaptures.Select(capture => $"{capture.Place}: {capture.Reason}")]);
        Section(writer, "Captures", held.Captures.Select(capture =>
            $"{capture.Place}  {capture.TakenAt?.ToString("yyyy-MM-dd HH:mm:ss zzz", CultureInfo.InvariantCulture) ?? "time not known"}  {JsonNamingPolicy.SnakeCaseLower.ConvertName(capture.State.ToString())}"));
        Section(writer, "Read from them", cues.Select(cue => CueLine(cue, held.Captures)));
        bool isFiled = held.Sitting.State == SittingState.Matched;
        Section(writer, "Filed under", isFiled && reply.Step is { } filed ? [filed.OrderLine(), $"step {filed.StepID ?? "(no step ID)"}", filed.PatientLine()] : []);
        Section(writer, "Evidence", (held.Match?.Evidence ?? []).Select(reason => reason.Words));
        IReadOnlyList<Proposal> proposals = held.Match?.Proposals ?? [];
        for (int i = 0; i < proposals.Count; i++)
        {
            StepReply step = StepReply.Read(proposals[i].StepJson);
            writer.WriteLine();
            writer.WriteLine(FormattableString.Invariant($"Proposal {i + 1}: {step.OrderLine()}"));
            writer.WriteLine($"  patient  {step.PatientLine()}");
            writer.WriteLine($"  step     {step.StepID ?? "(no step ID)"}");
            Reasons(writer, "for    ", proposals[i].For);
            Reasons(writer, "against", proposals[i].Against);
        }

        if (isFiled && reply.HeldCaptures.Count == 0)
        {
            return;
        }

        writer.WriteLine();
        writer.WriteLine(
            isFiled ? FormattableString.Invariant($"Once the cause is mended, camerabridge held assign {reply.Sitting} --step STEP|--accession NUMBER --by \"YOUR NAME\" with this same order tries the held captures again.")
            : proposals.Count == 0
            ? "There is no proposal. --accession NUMBER assigns a step that the worklist knows."
            : FormattableString.Invariant($"camerabridge held assign {reply.Sitting} --step STEP|--accession NUMBER --by \"YOUR NAME\" files it. What was asked and answered: --json."));
    }

    private static void Section(TextWriter writer, string head, IEnumerable<string> lines)
    {
        string[] all = [.. lines];
        if (all.Length > 0)
        {
            writer.WriteLine();
            writer.WriteLine(head);
            foreach (string line in all)
            {
                writer.WriteLine($"  {line}");
            }
        }
    }

    private static void Reasons(TextWriter writer, string head, IReadOnlyList<Reason> reasons)
    {
        foreach (Reason reason in reasons)
        {
            writer.WriteLine($"  {head}  {reason.Words}");
        }
    }

    /// <summary>What the folder says, then what the pictures say, in their order: they were read side by side.</summary>
    private static IReadOnlyList<Cue> InOrder(IReadOnlyList<Cue> cues, IReadOnlyList<Capture> captures)
    {
        Dictionary<long, int> places = captures.Index().ToDictionary(capture => capture.Item.Id, capture => capture.Index);
        return [.. cues.OrderBy(cue => places.GetValueOrDefault(cue.CaptureId, -1))];
    }

    private static string CueLine(Cue cue, IReadOnlyList<Capture> captures)
    {
        string place = captures.FirstOrDefault(capture => capture.Id == cue.CaptureId)?.Place ?? "the folder";
        string[] parts = cue.Card is not null ? [CardActs.Words(cue)] :
        [
            .. cue.PatientID is null ? [] : new[] { $"patient {cue.PatientID}" },
            .. cue.IssuerOfPatientID is null ? [] : new[] { $"issuer {cue.IssuerOfPatientID}" },
            .. cue.AccessionNumber is null ? [] : new[] { $"order {cue.AccessionNumber}" },
            .. cue.Side is null ? [] : new[] { $"side {cue.Side}" },
            .. cue.Optic is null ? [] : new[] { $"optic {cue.Optic}" },
            .. cue.Values.Keys.Select(key => $"{key.Replace('_', ' ')} {string.Join(" and ", cue.Values.All(key))}"),
            .. cue.Finding is null ? [] : new[] { cue.Finding.Words },
        ];
        string kind = JsonNamingPolicy.KebabCaseLower.ConvertName(cue.Kind.ToString()).Replace('-', ' ');
        return $"{place}: {kind}{(cue.Pattern is null ? "" : $" ({cue.Pattern})")}{(parts.Length == 0 ? "" : ": " + string.Join(", ", parts))}";
    }

    private static string Why(SittingReply reply) =>
        reply.Held.Count > 0 ? string.Join("; ", reply.Held.Select(reason => reason.Words))
        : reply.HeldCaptures.Count > 0 ? $"{reply.HeldCaptures[0].Place}: {reply.HeldCaptures[0].Reason}{(reply.HeldCaptures.Count > 1 ? " ..." : "")}"
        : "";

    private static string Number(long value) => value.ToString(CultureInfo.InvariantCulture);
}
