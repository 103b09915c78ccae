using CameraBridge.Configuration;

namespace CameraBridge.Pipeline.Objects.Optics;

/// <summary>What a configuration lacks for its optics, told before the first picture is held for it.</summary>
/// <param name="Source">Name of the source.</param>
/// <param name="Words">What is missing and what comes of it, without a full stop.</param>
/// <param name="Fix">The next step, a sentence.</param>
internal sealed record OpticHint(string Source, string Words, string Fix)
{
    public static IEnumerable<OpticHint> Of(SiteConfiguration site)
    {
        foreach (SourceConfiguration source in site.Sources)
        {
            if (site.Optics.TryFind(source.Optic, out Optic? optic) && OpticNeeds.LackingDevice(source, optic).ToArray() is { Length: > 0 } lacking)
            {
                yield return new OpticHint(
                    source.Name,
                    $"the optic {optic.Name} must name the camera, and the source does not say device.{string.Join(", device.", lacking)}; pictures that do not say it themselves will be held",
                    "Write them into the source's device settings.");
            }
        }
    }
}
