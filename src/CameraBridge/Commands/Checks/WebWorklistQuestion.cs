using CameraBridge.Configuration;
using CameraBridge.Pipeline.Matches;

namespace CameraBridge.Commands.Checks;

/// <summary>Asks a worklist by DICOMweb who is expected today, in the way that sittings are asked for.</summary>
internal sealed class WebWorklistQuestion(SiteConfiguration site, WorklistConfiguration configuration, TimeProvider clock) : IWebQuestion
{
    public string Step => WorklistQuestions.StepOf(site, configuration);

    public string Part => "query";

    public async Task<CheckLine> AskAsync(CancellationToken cancellation)
    {
        var today = DateOnly.FromDateTime(TimeZoneInfo.ConvertTime(clock.GetUtcNow(), site.TimeZone).DateTime);
        var worklist = new Worklist(site, configuration, clock);
        await using (worklist.ConfigureAwait(false))
        {
            WorklistAnswers answers = await worklist.AskAsync(new WorklistQuestion { From = today, To = today }, cancellation).ConfigureAwait(false);
            return answers.Failure is { } failure
                ? new CheckLine($"{Step}: {Part}", CheckOutcome.Failed, failure.Words, CheckLine.Again)
                : WorklistQuestions.Told(site, Step, answers.Steps, answers.CutOff);
        }
    }
}
