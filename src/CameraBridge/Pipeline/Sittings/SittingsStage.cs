using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Sittings;

/// <summary>Closes a sitting whose folder has been quiet, or whose stick is gone, and divides it by its labels.</summary>
internal sealed class SittingsStage(IPipelineDatabase database, ILogger<SittingsStage> logger) : IStage
{
    public Stage Stage => Stage.Sittings;

    public IReadOnlyList<string> Lanes { get; } = [""];

    public int Batch => 16;

    public int Workers => 1;

    public TimeSpan Lease { get; } = TimeSpan.FromMinutes(1);

    public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        foreach (Work work in batch)
        {
            Sitting sitting = await database.GetSittingAsync(work.SubjectId, cancellation).ConfigureAwait(false)
                ?? throw new InvalidOperationException($"Sitting {work.SubjectId} has work but no row.");
            IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting.Id, cancellation).ConfigureAwait(false);
            IReadOnlyList<Cue> cues = await database.GetCuesOfSittingAsync(sitting.Id, cancellation).ConfigureAwait(false);
            IReadOnlyList<SittingPart> parts = SittingDivision.Divide(sitting, captures, cues);
            if (!await database.CompleteSittingAsync(work, parts, cancellation).ConfigureAwait(false))
            {
                // A capture has joined it or is still being looked at: the database has made the closing due again.
                continue;
            }

            logger.SittingClosed(sitting.Id, captures.Count, parts.Count, parts.Count(part => part.Empty));
            if (parts[0].Doubt is { } doubt)
            {
                logger.OrderInDoubt(sitting.Id, doubt);
            }
        }
    }
}
