using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Commands.Checks;

/// <summary>Whether the RIS takes performed procedure steps. None is made for that: a RIS would keep it.</summary>
internal sealed class PerformedStepQuestions : IPeerQuestions
{
    public string Kind => "RIS";

    public string Step => "performed steps";

    public IReadOnlyList<string> Parts => ["steps"];

    public IReadOnlyList<ContextProposal> Contexts => PerformedStepUser.Proposals;

    public Task AskAsync(Association association, ICollection<CheckLine> lines, CancellationToken cancellation)
    {
        lines.Add(association.Contexts.Any(context => context.AbstractSyntaxUID == SopClasses.ModalityPerformedProcedureStep)
            ? new CheckLine($"{Step}: steps", CheckOutcome.Ok, "takes performed procedure steps (N-CREATE, N-SET)")
            : new CheckLine(
                $"{Step}: steps",
                CheckOutcome.Failed,
                $"takes no performed procedure steps ({PeerChecks.Refusal(association, SopClasses.ModalityPerformedProcedureStep)})",
                "Enable them there for our AE title, name the RIS that takes them, or take performed_step out; no picture waits for them."));
        return Task.CompletedTask;
    }
}
