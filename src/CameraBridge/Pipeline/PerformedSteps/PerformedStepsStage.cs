using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.PerformedSteps;

/// <summary>
/// Tells the RIS what is being done about its orders (PS3.4 Annex F), beside the flow: a RIS that is late, missing or refuses holds up no picture. The end of a
/// step is never sent before the RIS has its beginning, over restarts too, since both are one piece of work.
/// </summary>
/// <param name="site">The site.</param>
/// <param name="configuration">The RIS.</param>
/// <param name="database">The state.</param>
/// <param name="clock">Source of all delays and limits.</param>
/// <param name="logger">Log.</param>
/// <param name="random">Jitter; a seeded one in tests.</param>
internal sealed class PerformedStepsStage(
    SiteConfiguration site,
    PerformedStepConfiguration configuration,
    IPipelineDatabase database,
    TimeProvider clock,
    ILogger<PerformedStepsStage> logger,
    Random? random = null) : IStage
{
    private readonly Deliveries.RetryDelays _delays = new(configuration.FirstRetryDelay, configuration.LongestRetryDelay, random ?? new Random());

    public Stage Stage => Stage.PerformedSteps;

    public IReadOnlyList<string> Lanes { get; } = [""];

    public int Batch => 50;

    public int Workers => 1;

    public TimeSpan Lease { get; } = TimeSpan.FromMinutes(2);

    public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        Association? association = null;
        int done = 0;
        try
        {
            association = await Association.RequestAsync(Options(), cancellation).ConfigureAwait(false);
            PerformedStepUser user = new(association);
            for (; done < batch.Count; done++)
            {
                await TellAsync(user, association.PeerName, batch[done], cancellation).ConfigureAwait(false);
            }

            await association.ReleaseAsync(cancellation).ConfigureAwait(false);
        }
        catch (ContextNotAcceptedException failure)
        {
            await LaterAsync([.. batch.Skip(done)], $"{failure.Sentence} Enable performed procedure steps there for our AE title.", cancellation).ConfigureAwait(false);
        }
        catch (AssociationException failure)
        {
            // Whether the message under way arrived is not known; it is sent again, and 0111 or 0110 will say that it did.
            await LaterAsync([.. batch.Skip(done)], failure.Sentence, cancellation).ConfigureAwait(false);
        }
        finally
        {
            if (association is not null)
            {
                await association.DisposeAsync().ConfigureAwait(false);
            }
        }
    }

    private async Task TellAsync(PerformedStepUser user, string peer, Work work, CancellationToken cancellation)
    {
        if (await database.GetPerformedStepAsync(work, cancellation).ConfigureAwait(false) is not { } task)
        {
            throw new InvalidOperationException($"Performed step {work.SubjectId} has work and no row.");
        }

        PerformedStepStart start = StepMessages.Start(task, site);
        try
        {
            PerformedStepResult result = task.Step.State == PerformedStepState.Planned
                ? JudgeStart(await user.CreateAsync(task.Step.SOPInstanceUID, start.ToDataSet(), cancellation).ConfigureAwait(false), task, peer)
                : await EndAsync(user, start, task, peer, cancellation).ConfigureAwait(false);
            await WriteAsync(task, result, cancellation).ConfigureAwait(false);
        }
        catch (Exception unfit) when (unfit is PerformedStepException or ValueException)
        {
            string words = unfit is PerformedStepException known ? known.Message : "The order holds a value that no performed step may have; look at it in the RIS.";
            await WriteAsync(task, new PerformedStepResult(work, PerformedStepState.Refused, null, words, null), cancellation).ConfigureAwait(false);
        }
    }

    private async Task<PerformedStepResult> EndAsync(PerformedStepUser user, PerformedStepStart start, PerformedStepTask task, string peer, CancellationToken cancellation)
    {
        PerformedStepEnd end = StepMessages.End(task, site);
        bool wasSent = task.Step.State == PerformedStepState.Ending;
        if (!wasSent && !await database.BeginEndOfStepAsync(task.Work, cancellation).ConfigureAwait(false))
        {
            // Somebody else has the work, and tells it.
            return new PerformedStepResult(task.Work, PerformedStepState.InProgress, null, null, clock.GetUtcNow(), Tried: false);
        }

        DimseReply reply = await user.SetAsync(task.Step.SOPInstanceUID, start.ToDataSet(), end.ToDataSet(), cancellation).ConfigureAwait(false);
        PerformedStepState ended = end.Discontinued is null ? PerformedStepState.Completed : PerformedStepState.Discontinued;

        // A step that has ended may no longer be updated. Some RIS name it by its Error ID (PS3.4 section F.7.2.2); of one that does not, a processing failure
        // means that only after an end that was sent and whose answer was lost, with the connection or with the program.
        bool hadEnded = reply.ErrorID == PerformedStepUser.HasEnded || (reply.Meaning.Advice == StatusAdvice.Ask && wasSent);
        return reply.IsDone || hadEnded
            ? new PerformedStepResult(task.Work, ended, reply.Status, hadEnded ? $"The {peer} had its end already." : $"The {peer} was told its end.", null)
            : Failed(reply, task, wasSent ? PerformedStepState.Ending : PerformedStepState.InProgress, peer);
    }

    private PerformedStepResult JudgeStart(DimseReply reply, PerformedStepTask task, string peer) =>
        reply.IsDone || reply.Meaning.Advice == StatusAdvice.Ask
            ? new PerformedStepResult(task.Work, PerformedStepState.InProgress, reply.Status, $"The {peer} was told its beginning.", null)
            : Failed(reply, task, PerformedStepState.Planned, peer);

    private PerformedStepResult Failed(DimseReply reply, PerformedStepTask task, PerformedStepState state, string peer)
    {
        // Ask, and not answered by what was sent before: the RIS failed at it, which may pass.
        bool isLater = reply.Meaning.Advice is StatusAdvice.Later or StatusAdvice.Ask && clock.GetUtcNow() - task.Step.BeginsAt < configuration.GiveUpAfter;
        return isLater
            ? new PerformedStepResult(task.Work, state, reply.Status, $"The {peer} could not take it now: {reply}.", clock.GetUtcNow() + _delays.After(task.Work.Attempts))
            : new PerformedStepResult(task.Work, PerformedStepState.Refused, reply.Status, $"The {peer} refused it: {reply}. Enter the procedure in the RIS by hand; the pictures are not concerned.", null);
    }

    private async Task WriteAsync(PerformedStepTask task, PerformedStepResult result, CancellationToken cancellation)
    {
        if (!await database.CompletePerformedStepAsync(result, cancellation).ConfigureAwait(false))
        {
            return;
        }

        if (result.State == PerformedStepState.Refused)
        {
            logger.Refused(task.Step.Id, task.Sitting.Id, result.Words ?? "");
        }
        else if (result.DueAt is { } dueAt)
        {
            logger.Later(task.Step.Id, dueAt, result.Words ?? "");
        }
        else
        {
            logger.Told(task.Step.Id, task.Sitting.Id, result.State);
        }
    }

    private async Task LaterAsync(IReadOnlyList<Work> left, string sentence, CancellationToken cancellation)
    {
        if (left.Count == 0)
        {
            return;
        }

        DateTimeOffset dueAt = clock.GetUtcNow() + _delays.After(left.Min(work => work.Attempts));
        foreach (Work work in left)
        {
            if (await database.GetPerformedStepAsync(work, cancellation).ConfigureAwait(false) is { } task)
            {
                bool isOver = clock.GetUtcNow() - task.Step.BeginsAt >= configuration.GiveUpAfter;
                await WriteAsync(
                    task,
                    isOver
                        ? new PerformedStepResult(work, PerformedStepState.Refused, null, $"{sentence} Given up; enter the procedure in the RIS by hand.", null)
                        : new PerformedStepResult(work, task.Step.State, null, sentence, dueAt),
                    cancellation).ConfigureAwait(false);
            }
        }

        await database.PauseLaneAsync(Stage.PerformedSteps, Lanes[0], dueAt, cancellation).ConfigureAwait(false);
    }

    private AssociationOptions Options() => new()
    {
        Host = configuration.Peer.Host,
        Port = configuration.Peer.Port,
        CalledAETitle = configuration.Peer.CalledAETitle,
        CallingAETitle = configuration.Peer.CallingAETitle ?? site.CallingAETitle,
        PeerKind = "RIS",
        Contexts = PerformedStepUser.Proposals,
        Limits = AssociationLimits.Default with
        {
            Connect = configuration.Peer.ConnectLimit,
            Associate = configuration.Peer.ResponseLimit,
            Response = configuration.Peer.ResponseLimit,
            Write = configuration.Peer.ResponseLimit,
        },
        TimeProvider = clock,
    };
}
