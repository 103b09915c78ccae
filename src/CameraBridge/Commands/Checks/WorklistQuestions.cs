using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Pipeline.Matches;

namespace CameraBridge.Commands.Checks;

/// <summary>Asks the worklist who is expected today.</summary>
internal sealed class WorklistQuestions(SiteConfiguration site, WorklistConfiguration worklist, TimeProvider clock) : IPeerQuestions
{
    public string Kind => "worklist";

    public string Step => StepOf(site, worklist);

    public IReadOnlyList<string> Parts => ["query"];

    public IReadOnlyList<ContextProposal> Contexts { get; } = [new(SopClasses.ModalityWorklistInformationModelFind, TransferSyntaxes.ImplicitVRLittleEndian)];

    /// <summary>How the lines of a worklist begin: with its name where there are several.</summary>
    public static string StepOf(SiteConfiguration site, WorklistConfiguration worklist) => site.Worklists.Count > 1 ? $"worklist {worklist.Name}" : "worklist";

    /// <summary>What a worklist answered.</summary>
    public static CheckLine Told(SiteConfiguration site, string step, IReadOnlyList<WorklistStep> steps, bool isCut)
    {
        int own = steps.Count(one => site.Sources.Any(source => source.StationAETitle is { } title && one.StationAETitles.Contains(title)));
        string words = string.Create(CultureInfo.InvariantCulture, $"{steps.Count}{(isCut ? " or more" : "")} steps scheduled today, {own} of them for the sources' stations");
        return steps.Count == 0
            ? new CheckLine($"{step}: query", CheckOutcome.Hint, words, "None today may be right; else compare station AE titles and dates with the worklist's.")
            : new CheckLine($"{step}: query", CheckOutcome.Ok, words);
    }

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
            FindResult result = await new FindUser(association)
                .FindAllAsync(SopClasses.ModalityWorklistInformationModelFind, keys, worklist.AnswerLimit, cancellation).ConfigureAwait(false);
            lines.Add(result.IsCut || result.Final.IsDone
                ? Told(site, Step, [.. result.Matches.SelectMany(match => WorklistStep.Of(match.Identifier))], result.IsCut)
                : new CheckLine($"{Step}: query", CheckOutcome.Failed, result.Final.ToString(), "Its log says what it did not like; a wrong AE title is common."));
        }
        catch (ContextNotAcceptedException fault)
        {
            lines.Add(new CheckLine($"{Step}: query", CheckOutcome.Failed, fault.Sentence.TrimEnd('.'), "Check that this port is the worklist and not the archive."));
        }
    }
}
