using System.CommandLine;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Commands;

/// <summary>
/// <c>held assign</c> with <c>--say</c>: what a person knows of pictures that no cue tells, such as the side of an eye. The words are those of sidecar files.
/// </summary>
internal static class HeldSaying
{
    public static Option<string[]> SayOption() => new("--say")
    {
        Description = "Say something of its pictures that no cue tells, in the words of a sidecar: side=R, optic=retina, body_site=\"Skin of back\". May be given several times.",
        HelpName = "KEY=VALUE",
        Arity = ArgumentArity.ZeroOrMore,
    };

    public static Option<string[]> ForOption() => new("--for")
    {
        Description = "The file names of those pictures; without it, all that are no objects yet.",
        HelpName = "FILE",
        Arity = ArgumentArity.ZeroOrMore,
        AllowMultipleArgumentsPerToken = true,
    };

    /// <summary>The cues to be written with the decision.</summary>
    /// <exception cref="CommandException">A word or a value is not known, or no picture has the name.</exception>
    public static IReadOnlyList<Cue> Read(SiteConfiguration site, string[] said, string[] names, HeldSitting held)
    {
        if (said.Length == 0)
        {
            return names.Length == 0 ? [] : throw Wrong("--for says which pictures --say is about; there is no --say.");
        }

        var cue = new Cue { Kind = CueKind.Decision };
        foreach (IGrouping<string, string> one in said.Select(Split).GroupBy(pair => pair.Key, pair => pair.Value, StringComparer.Ordinal))
        {
            cue = Take(site, cue, one.Key, [.. one]);
        }

        Capture[] pictures = [.. held.Captures.Where(capture => capture.State is not (CaptureState.Encoded or CaptureState.Evidence) && !Sidecar.IsSidecar(capture.Place))];
        string? foreign = names.FirstOrDefault(name => !pictures.Any(picture => IsNamed(picture, name)));
        return foreign is null
            ? [.. pictures.Where(picture => names.Length == 0 || names.Any(name => IsNamed(picture, name))).Select(picture => cue with { CaptureId = picture.Id })]
            : throw Wrong(FormattableString.Invariant($"Sitting {held.Sitting.Id} has no picture '{foreign}' that is no object yet. 'camerabridge held show {held.Sitting.Id}' lists them."));
    }

    private static (string Key, string Value) Split(string text) => text.Split('=', 2) is [{ Length: > 0 } key, { Length: > 0 } value]
        ? (key.Trim(), value.Trim())
        : throw Wrong($"--say {text}: write it as KEY=VALUE, for example side=R.");

    private static Cue Take(SiteConfiguration site, Cue cue, string key, string[] values)
    {
        if (key == "optic")
        {
            return values is [var optic] && site.Optics.TryFind(optic, out _)
                ? cue with { Optic = optic }
                : throw Wrong($"--say optic: is no optic. Optics are {string.Join(", ", site.Optics.Names)}.");
        }

        if (key != OpticPart.WithKey && ValueKeys.Find(key) is null)
        {
            string[] known = ["optic", OpticPart.WithKey, .. ValueKeys.All.Select(one => one.Name)];
            throw Wrong($"--say {key}: nothing of that name can be said. {(NearestWord.Of(key, known) is { } nearest ? $"Did you mean {nearest}?" : $"What can be said: {string.Join(", ", known)}.")}");
        }

        (Cue taken, string? wrong) = Sidecar.TakeValues(cue, key, values);
        return wrong is null ? taken : throw Wrong($"--say {key}: {wrong}");
    }

    private static bool IsNamed(Capture capture, string name) =>
        capture.Place == name || capture.Place[(capture.Place.LastIndexOf('/') + 1)..].Equals(name, StringComparison.OrdinalIgnoreCase);

    private static CommandException Wrong(string words) => new(ExitCodes.UsageOrConfiguration, "not-understood", words);
}
