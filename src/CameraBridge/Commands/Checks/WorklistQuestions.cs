using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Commands.Checks;

/// <summary>Asks the worklist who is expected today.</summary>
internal sealed class WorklistQuestions(SiteConfiguration site, TimeProvider clock) : IPeerQuestions
{
    public string Kind => "worklist";

    public string Step => "worklist";

    public IReadOnlyList<string> Parts => ["query"];

    public IReadOnlyList<ContextProposal> Contexts { get; } = [new(SopClasses.ModalityWorklistInformationModelFind, TransferSyntaxes.ImplicitVRLittleEndian)];

    public async Task AskAsync(Association association, ICollection<CheckLine> lines, CancellationToken cancellation)
    {
        DataSet step = new();
        string today = TimeZoneInfo.ConvertTime(clock.GetUtcNow(), site.TimeZone).ToString("yyyyMMdd", CultureInfo.InvariantCulture);
        step.Set(Tags.Modality, "");
        step.Set(Tags.ScheduledStationAETitle, "");
        step.SetBytes(Tags.ScheduledProcedureStepStartDate, System.Text.Encoding.ASCII.GetBytes(today));
        step.Set(Tags.ScheduledProcedureStepID, "");
        DataSet keys = new();
        keys.SetEmpty(Tags.SpecificCharacterSet);
        keys.SetEmpty(Tags.AccessionNumber);
        keys.SetEmpty(Tags.PatientID);
        keys.SetItems(Tags.ScheduledProcedureStepSequence, step);
        try
        {
            int limit = site.Worklist?.AnswerLimit ?? 1000;
            FindResult result = await new FindUser(association)
                .FindAllAsync(SopClasses.ModalityWorklistInformationModelFind, keys, limit, cancellation).ConfigureAwait(false);
            int own = result.Matches.Count(match => site.Sources.Any(source => source.StationAETitle is { } title
                && match.Identifier.GetItem(Tags.ScheduledProcedureStepSequence)?.GetStrings(Tags.ScheduledStationAETitle).Contains(title) == true));
            string words = string.Create(CultureInfo.InvariantCulture, $"{result.Matches.Count}{(result.IsCut ? " or more" : "")} steps scheduled today, {own} of them for the sources' stations");
            lines.Add(result.IsCut || result.Final.IsDone
                ? result.Matches.Count == 0
                    ? new CheckLine($"{Step}: query", CheckOutcome.Hint, words, "None today may be right; else compare station AE titles and dates with the worklist's.")
                    : new CheckLine($"{Step}: query", CheckOutcome.Ok, words)
                : new CheckLine($"{Step}: query", CheckOutcome.Failed, result.Final.ToString(), "Its log says what it did not like; a wrong AE title is common."));
        }
        catch (ContextNotAcceptedException fault)
        {
            lines.Add(new CheckLine($"{Step}: query", CheckOutcome.Failed, fault.Sentence.TrimEnd('.'), "Check that this port is the worklist and not the archive."));
        }
    }
}
