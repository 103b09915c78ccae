using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Web;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// Makes the objects of a matched sitting: UIDs and data sets once, stored with their deliveries in one transaction before the first byte is sent.
/// A capture that cannot become an object is held and stops none of the others; tried again later, it joins the series of those that could.
/// </summary>
internal sealed class ObjectsStage(SiteConfiguration configuration, IPipelineDatabase database, ILogger<ObjectsStage> logger, TimeProvider? clock = null) : IStage, IAsyncDisposable
{
    private readonly CaptureContents contents = new(configuration, clock ?? TimeProvider.System);

    /// <summary>A camera that claims a time later than this after its picture was taken in has a wrong clock (zones differ by a day at most).</summary>
    private static readonly TimeSpan LatestAfterTaken = TimeSpan.FromDays(1);

    /// <summary>A picture older than this when it was taken in comes, far more often than not, from a clock that was reset.</summary>
    private static readonly TimeSpan OldestWhenTaken = TimeSpan.FromDays(366);

    public Stage Stage => Stage.Objects;

    public IReadOnlyList<string> Lanes { get; } = [""];

    public int Batch => 2;

    public int Workers => 2;

    public TimeSpan Lease => TimeSpan.FromMinutes(5);

    public async Task RunAsync(IReadOnlyList<Work> batch, CancellationToken cancellation)
    {
        foreach (Work work in batch)
        {
            await MakeAsync(work, cancellation);
        }
    }

    private async Task MakeAsync(Work work, CancellationToken cancellation)
    {
        Sitting sitting = await database.GetSittingAsync(work.SubjectId, cancellation)
            ?? throw new InvalidOperationException($"Sitting {work.SubjectId} has work and no row.");
        Match match = await database.GetMatchAsync(sitting.Id, cancellation) is { StepJson: not null } found
            ? found
            : throw new InvalidOperationException($"Sitting {sitting.Id} is to become objects and has no match.");
        IReadOnlyList<Capture> captures = await database.GetCapturesOfSittingAsync(sitting.Id, cancellation);
        Capture[] open = [.. captures.Where(capture => capture.State is not (CaptureState.Encoded or CaptureState.Evidence))];
        IReadOnlyList<Cue> cues = await database.GetCuesOfSittingAsync(sitting.Id, cancellation);

        var objects = new List<ImagingObject>();
        var others = new List<CaptureVerdict>();
        IReadOnlyList<ObjectSeries> series = [];
        if (configuration.FindSource(sitting.Source) is { } source)
        {
            DataSet step = DicomJson.ReadArray(Encoding.UTF8.GetBytes(match.StepJson!))[0];
            IReadOnlyList<ObjectSeries> before = await database.GetSeriesOfSittingAsync(sitting.Id, cancellation);
            IReadOnlyList<PerformedStep> performed = await database.GetPerformedStepsAsync(sitting.Id, cancellation);
            var making = new SittingObjects(configuration, source, contents, sitting, match, step, captures, cues, before) { PerformedStepUID = performed is [var first, ..] ? first.SOPInstanceUID : null };
            if (step.GetString(Tags.StudyInstanceUID) is { } StudyInstanceUID && open.Length > 0)
            {
                making.StudyStartedAt = await database.StartStudyAsync(StudyInstanceUID, making.StartedAt, cancellation);
            }

            IReadOnlyList<ImagingObject> earlier = before.Count > 0 ? await database.GetObjectsOfSittingAsync(sitting.Id, cancellation) : [];
            foreach (Capture clip in captures.Where(one => one.State == CaptureState.Encoded && CaptureKinds.ByName(one) == Optics.CaptureKind.Clip))
            {
                if (earlier.FirstOrDefault(made => made.CaptureId == clip.Id) is { } made)
                {
                    making.AddEarlier(clip, made, cancellation);
                }
            }

            foreach (Capture capture in SittingObjects.InOrderOfMaking(open))
            {
                cancellation.ThrowIfCancellationRequested();
                making.Add(capture, objects, others, logger, cancellation);
            }

            series = making.Series;
        }
        else
        {
            others.AddRange(open.Select(capture => new CaptureVerdict(
                capture.Id, CaptureState.Held, $"The source \"{sitting.Source}\" is no longer in the configuration; put it back, then assign the sitting to the same order again.")));
        }

        if (await database.CompleteObjectsAsync(work, objects, series, others, cancellation))
        {
            logger.ObjectsMade(sitting.Id, objects.Count, others.Count(other => other.State == CaptureState.Held));
        }
    }

    public ValueTask DisposeAsync()
    {
        contents.Dispose();
        return ValueTask.CompletedTask;
    }

    /// <summary>The time the camera claims, unless it cannot be.</summary>
    internal static DateTimeOffset? Plausible(Capture capture) =>
        capture.TakenAt is { } taken && taken <= capture.SettledAt + LatestAfterTaken && taken >= capture.SettledAt - OldestWhenTaken ? taken : null;
}
