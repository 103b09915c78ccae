using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Confirmations;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.PerformedSteps;
using CameraBridge.Pipeline.Releases;
using CameraBridge.Pipeline.Sittings;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline;

/// <summary>
/// The map of the system. Captures come in by <see cref="Captures.CaptureSources"/>; from there each stage takes its work from the database and leaves
/// the next stage's work there, in this order:
/// <code>
/// stage        work is        result                                      next
/// Cues         a capture      its time and its cues                       (its sitting closes when its folder is quiet)
/// Sittings     a sitting      closed and divided by its labels            Matches, each part
/// Matches      a sitting      the scheduled step, or held with reasons    Objects, when matched or assigned by a person
/// Objects      a sitting      checked objects with UIDs, stored once      Deliveries, each object and destination
/// Deliveries   a delivery     stored, refused, given up, or later again   Confirmations
/// Confirmations a delivery    kept, or sent again, or for a person        Releases, when every destination of a capture keeps it
/// Releases     a capture      its source left, marked or removed          -
/// </code>
/// Beside the flow, <c>PerformedSteps</c> tells the RIS: that a matched sitting's procedure began, and, when its objects are made, what came of it.
/// </summary>
internal static class Stages
{
    /// <summary>The stages of a site in flow order; deliveries once for each destination. Those that are <see cref="IAsyncDisposable"/> are disposed of by the run.</summary>
    [System.Diagnostics.CodeAnalysis.SuppressMessage("Reliability", "CA2000:Dispose objects before losing scope", Justification = "The run disposes of its stages.")]
    public static IReadOnlyList<IStage> Build(
        SiteConfiguration site, IPipelineDatabase database, CommitmentTaking taking, TimeProvider clock, ILoggerFactory loggers) =>
    [
        new CuesStage(site, database, loggers.CreateLogger<CuesStage>()),
        new SittingsStage(database, loggers.CreateLogger<SittingsStage>()),
        new MatchesStage(site, database, clock, loggers.CreateLogger<MatchesStage>()),
        new ObjectsStage(site, database, loggers.CreateLogger<ObjectsStage>(), clock),
        .. site.Destinations.Select(destination => new DeliveriesStage(destination, site, database, clock, loggers.CreateLogger<DeliveriesStage>())),
        .. site.Destinations.Where(destination => destination.ConfirmBy != ConfirmBy.None).Select(destination =>
            new ConfirmationsStage(destination, site, database, taking, clock, loggers.CreateLogger<ConfirmationsStage>())),
        .. site.PerformedStep is { } ris
            ? (IStage[])[new PerformedStepsStage(site, ris, database, clock, loggers.CreateLogger<PerformedStepsStage>())]
            : [],
        new ReleasesStage(site, database, clock, loggers.CreateLogger<ReleasesStage>()),
    ];
}
