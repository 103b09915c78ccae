using CameraBridge.Configuration;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Matches.Joint;
using CameraBridge.Pipeline.Objects.Mapping;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Matches;

/// <summary>What cues say of a sitting, and codes of a step, in the same words: modality, body site, side.</summary>
internal static class SittingTraits
{
    /// <summary>Of a sitting: what cards, sidecars or people say of any of its pictures, if they say one thing.</summary>
    public static JointTraits Of(OpticsTable optics, SourceConfiguration? source, IReadOnlyList<Cue> cues)
    {
        string[] sides = [.. cues.Select(cue => cue.Side).OfType<string>().Distinct(StringComparer.Ordinal)];
        string[] sites = [.. cues.SelectMany(cue => cue.Values.All(ValueKeys.BodySite)).Distinct(StringComparer.Ordinal)];
        return new JointTraits(
            Modality: Circumstances.ModalityOf(optics, source, cues.Where(cue => cue.Optic is not null).Select(cue => (cue.Optic, cue.Values))),
            BodyPart: sites is [var site] ? site : null,
            Side: sides.Length > 1 ? "B" : sides.FirstOrDefault());
    }

    /// <summary>Of a step: its modality, and what its codes say of the pictures of an optic.</summary>
    public static JointTraits Of(WorklistStep step, Optic? optic)
    {
        OpticValues ordered = optic is null ? OpticValues.None : OrderValues.Of(step.Item, optic);
        return new JointTraits(Modality: step.Modality, BodyPart: ordered.One(ValueKeys.BodySite), Side: ordered.One(ValueKeys.Side));
    }

    /// <summary>The one optic that cues name, or else the source's; null when there is more than one.</summary>
    public static Optic? OpticOf(OpticsTable optics, SourceConfiguration? source, IReadOnlyList<Cue> cues) =>
        cues.Select(cue => cue.Optic).OfType<string>().DefaultIfEmpty(source?.Optic ?? "").Distinct(StringComparer.Ordinal).ToArray() is [var only]
            && optics.TryFind(only, out Optic? optic) ? optic : null;

    /// <summary>What a step is called: steps of one name bring alike many pictures.</summary>
    public static string NameOf(WorklistStep step) =>
        step.Item.GetItem(Tags.ScheduledProcedureStepSequence)?.GetString(Tags.ScheduledProcedureStepDescription)
        ?? step.Item.GetString(Tags.RequestedProcedureDescription) ?? step.Modality ?? "";
}
