using CameraBridge.Configuration;

namespace CameraBridge.Commands;

/// <summary>Which source's settings one folder is taken with.</summary>
internal static class OnceSource
{
    /// <summary>
    /// The source named, else the one whose folder this is or whose mounts it is one of, else one of defaults; with the folder in place of its own.
    /// </summary>
    /// <exception cref="CommandException">There is no such folder or source, or the folder lies in the midst of a source or of our own files.</exception>
    public static SourceConfiguration Choose(SiteConfiguration site, string folder, string? name)
    {
        string path = Path.TrimEndingDirectorySeparator(Path.GetFullPath(folder));
        if (!Directory.Exists(path))
        {
            throw Usage($"There is no folder {path}. Name the folder or the mount point of the stick.");
        }

        string spool = Path.TrimEndingDirectorySeparator(Path.GetFullPath(site.SpoolFolder));
        if (IsBelow(spool, path) || IsBelow(path, spool) || (site.StateServer is null && IsBelow(Path.GetFullPath(site.StateFile), path)))
        {
            throw Usage($"{path} holds the spool or the state, or lies in it. Name the folder of the pictures.");
        }

        SourceConfiguration? watched = site.Sources.FirstOrDefault(source => IsOf(source, path));
        if (name is null && watched is null && site.Sources.FirstOrDefault(source => IsBelow(path, Above(source))) is { } around)
        {
            throw Usage($"{path} lies in the midst of the source {around.Name}, and its pictures would be taken a second time. Name the source's own folder, {around.Folder}.");
        }

        SourceConfiguration settings = name is null
            ? watched ?? new SourceConfiguration { Name = SourceConfiguration.UnconfiguredName, Folder = path }
            : site.Sources.FirstOrDefault(source => source.Name == name) ?? throw Usage(Unknown(site, name));
        return settings with { Folder = path };
    }

    /// <summary>The site as this run sees it: with the source as it was chosen.</summary>
    public static SiteConfiguration Site(SiteConfiguration site, SourceConfiguration source) =>
        site with { Sources = [.. site.Sources.Where(other => other.Name != source.Name), source] };

    private static bool IsOf(SourceConfiguration source, string path) =>
        AnyMount(source) ? Path.GetDirectoryName(path) == Above(source) : path == Above(source);

    private static bool AnyMount(SourceConfiguration source) => source.Folder.EndsWith("/*", StringComparison.Ordinal);

    private static string Above(SourceConfiguration source) =>
        Path.TrimEndingDirectorySeparator(Path.GetFullPath(AnyMount(source) ? source.Folder[..^2] : source.Folder));

    private static bool IsBelow(string path, string folder) =>
        path == folder || path.StartsWith(folder + Path.DirectorySeparatorChar, StringComparison.Ordinal);

    private static string Unknown(SiteConfiguration site, string name)
    {
        string[] names = [.. site.Sources.Select(source => source.Name)];
        return NearestWord.Of(name, names) is { } nearest ? $"There is no source {name}. Did you mean {nearest}?"
            : names.Length == 0 ? $"There is no source {name}, and none at all in the configuration."
            : $"There is no source {name}. Sources are {string.Join(", ", names)}.";
    }

    private static CommandException Usage(string message) => new(ExitCodes.UsageOrConfiguration, "usage", message);
}
