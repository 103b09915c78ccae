using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects;

/// <summary>Where an object goes: the destinations of the first route that fits, or, where the site has no routes, all of them.</summary>
internal static class Routes
{
    /// <param name="site">Destinations and routes; the last route fits everything.</param>
    /// <param name="source">Name of the source.</param>
    /// <param name="optic">Name of the optic.</param>
    /// <param name="made">What the picture became.</param>
    /// <param name="step">The item of the worklist.</param>
    public static IReadOnlyList<string> Of(SiteConfiguration site, string source, string optic, OpticClass made, DataSet step) =>
        site.Routes.FirstOrDefault(route => Fits(route, source, optic, made, step))?.To ?? [.. site.Destinations.Select(destination => destination.Name)];

    /// <summary>What goes first: stills of urgent orders (Requested Procedure Priority STAT or HIGH, PS3.3 section C.4.11), then other stills, then clips.</summary>
    public static int RankOf(CaptureKind kind, DataSet step) =>
        kind == CaptureKind.Clip ? ImagingObject.ClipRank
        : step.GetString(Tags.RequestedProcedurePriority) is "STAT" or "HIGH" ? ImagingObject.UrgentRank
        : 1;

    private static bool Fits(RouteConfiguration route, string source, string optic, OpticClass made, DataSet step) =>
        Names(route.Sources, source)
        && Names(route.Optics, optic)
        && Names(route.Modalities, made.Modality)
        && (route.Kind ?? made.Kind) == made.Kind
        && route.Order.All(condition => Holds(condition, step));

    private static bool Names(IReadOnlyList<string> names, string name) => names.Count == 0 || names.Contains(name, StringComparer.Ordinal);

    private static bool Holds(OrderCondition condition, DataSet step) =>
        step.GetStrings(condition.Tag).Concat(step.GetItem(Tags.ScheduledProcedureStepSequence)?.GetStrings(condition.Tag) ?? []).Any(value => condition.Pattern.IsMatch(value));
}
