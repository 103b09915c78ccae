using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Web;
using CameraBridge.Pipeline.Deliveries;

namespace CameraBridge.Pipeline.Matches;

/// <summary>
/// A worklist that is asked by DICOMweb: Modality Scheduled Procedure Steps (PS3.18 chapter 14) or Workitems (chapter 11). Its answers become what C-FIND would
/// have given, in the hospital's own time, so that nothing behind this knows which way they came.
/// </summary>
internal sealed class WebWorklist(SiteConfiguration site, WorklistConfiguration configuration, WebConfiguration web, TimeProvider clock) : IWorklistConnection
{
    /// <summary>A page of answers is small; a server that drips it is left.</summary>
    private static readonly TimeSpan LongestRequest = TimeSpan.FromMinutes(2);

    private WebConnection? _connection;

    private bool IsUnified => configuration.Kind == WorklistKind.UpsRs;

    public ValueTask DisposeAsync()
    {
        _connection?.Dispose();
        _connection = null;
        return ValueTask.CompletedTask;
    }

    public async Task<WorklistAnswers> AskAsync(WorklistQuestion question, CancellationToken cancellation)
    {
        // Workitems have no step ID. Without it nothing would be left to match, and everything would come.
        if (IsUnified && Workitem.IsUnaskable(question))
        {
            return new WorklistAnswers(question, []);
        }

        string? why = null;
        _connection ??= WebConnection.TryOpen(web with { Name = $"the worklist {web.Name}" }, clock, out why, LongestRequest);
        if (_connection is null)
        {
            return Failed(IWorklistConnection.Down, why!);
        }

        try
        {
            var client = new WorklistClient(
                _connection.Http, _connection.Peer, IsUnified ? WorklistService.Workitems : WorklistService.ScheduledProcedureSteps, clock);
            WorklistSearch found = await client
                .SearchAsync(IsUnified ? Workitem.ToIdentifier(question) : question.ToIdentifier(), configuration.AnswerLimit, cancellation).ConfigureAwait(false);
            return new WorklistAnswers(question, [.. found.Answers.SelectMany(StepsOf)]) { Total = found.Answers.Count, CutOff = found.IsCut };
        }
        catch (WebPeerException fault)
        {
            // A password or certificate that was renewed is read with the next attempt.
            await DisposeAsync().ConfigureAwait(false);
            return Failed(fault.Fault == WebFault.Refused && fault.StatusCode is not null ? IWorklistConnection.Refused : IWorklistConnection.Down, fault.Sentence);
        }

        WorklistAnswers Failed(string code, string sentence) => new(question, [])
        {
            Failure = new Reason(code, $"{char.ToUpperInvariant(sentence[0])}{sentence[1..]}"),
        };
    }

    private IEnumerable<WorklistStep> StepsOf(DataSet answer)
    {
        if (IsUnified)
        {
            return Workitem.ToAnswers(answer, site.TimeZone).SelectMany(WorklistStep.Of);
        }

        HospitalTime.Apply(answer, site.TimeZone);
        return WorklistStep.Of(answer);
    }
}
