using System.Globalization;

namespace CameraBridge.Configuration;

/// <summary>What must hold between settings that are each well written.</summary>
internal static class ConfigurationRules
{
    public static void Check(SiteConfiguration site, SettingLog log)
    {
        Names(log, "sources", [.. site.Sources.Select(source => source.Name)]);
        Names(log, "destinations", [.. site.Destinations.Select(destination => destination.Name)]);
        Names(log, "labels.patterns", [.. site.Labels.Patterns.Select(pattern => pattern.Name)]);
        PatternReader.Check("labels.patterns", site.Labels.Patterns, log);
        for (int i = 0; i < site.Sources.Count; i++)
        {
            Source(site, i, log);
        }

        Inside(log, "spool", site.SpoolFolder, site.Sources, "The program would take its own copies for new pictures");
        Inside(log, "state", site.StateFile, site.Sources, "The program would write into what it must leave untouched");
        if (site.StateServer is { } server)
        {
            StateServerReader.Check(server, log);
        }

        for (int i = 0; i < site.Destinations.Count; i++)
        {
            DestinationConfiguration destination = site.Destinations[i];
            if (destination.LongestRetryDelay < destination.FirstRetryDelay)
            {
                log.ReportAt(Key("destinations", i, "longest_retry_delay"), new ValueFault("is shorter than first_retry_delay", "Make it at least as long."));
            }

            if (destination.Peer is not null && destination.ConfirmBy == ConfirmBy.Retrieval)
            {
                log.ReportAt(Key("destinations", i, "confirm_by"), new ValueFault("is for DICOMweb; objects are not retrieved by DIMSE here", "Write auto, commitment or query."));
            }

            if (destination.Web is not null && destination.ConfirmBy == ConfirmBy.Commitment)
            {
                log.ReportAt(Key("destinations", i, "confirm_by"), new ValueFault("is for DIMSE; DICOMweb has no storage commitment that archives share", "Write auto, query or retrieval."));
            }

            if (destination.Web is { } web)
            {
                WebReader.Check(web, string.Create(CultureInfo.InvariantCulture, $"destinations[{i + 1}]"), log);
            }
        }

        WorklistReader.Check(site.Worklists, log);
        RouteReader.Check(site, log);
    }

    private static void Source(SiteConfiguration site, int index, SettingLog log)
    {
        SourceConfiguration source = site.Sources[index];
        Names(log, Key("sources", index, "name_patterns"), [.. source.NamePatterns.Select(pattern => pattern.Name)]);
        PatternReader.Check(Key("sources", index, "name_patterns"), source.NamePatterns, log);
        if (source.LongestSettleTime < source.SettleTime)
        {
            log.ReportAt(Key("sources", index, "longest_settle_time"), new ValueFault("is shorter than settle_time", "Make it at least as long."));
        }

        if (source.QuietTime < source.SettleTime)
        {
            log.ReportAt(
                Key("sources", index, "quiet_time"),
                new ValueFault("is shorter than settle_time, so a sitting would close before its last picture is taken", "Make it longer."));
        }

        if (source.Folder.Length == 0)
        {
            return;
        }

        // "*" stands for every mount, and only as the last part; anywhere else it would be taken for a folder's name.
        if (Watched(source.Folder).Contains('*', StringComparison.Ordinal))
        {
            log.ReportAt(Key("sources", index, "folder"), new ValueFault("has a '*' that is not its last part", "Use '*' only alone after the last '/'."));
        }

        for (int other = 0; other < site.Sources.Count; other++)
        {
            string otherFolder = site.Sources[other].Folder;
            if (other != index && otherFolder.Length > 0 && IsInside(source.Folder, otherFolder)
                && (other < index || !IsInside(otherFolder, source.Folder)))
            {
                log.ReportAt(
                    Key("sources", index, "folder"),
                    new ValueFault(
                        string.Create(CultureInfo.InvariantCulture, $"is watched by sources[{other + 1}] too, so every picture would be taken twice"),
                        "Give each source a folder of its own."));
                break;
            }
        }
    }

    private static void Names(SettingLog log, string list, string[] names)
    {
        for (int i = 1; i < names.Length; i++)
        {
            int first = Array.FindIndex(names, 0, i, name => name.Equals(names[i], StringComparison.OrdinalIgnoreCase));
            if (first >= 0 && names[i].Length > 0)
            {
                log.ReportAt(
                    Key(list, i, "name"),
                    new ValueFault(string.Create(CultureInfo.InvariantCulture, $"is the name of {list}[{first + 1}] too"), "Give each its own."));
            }
        }
    }

    private static void Inside(SettingLog log, string key, string path, IReadOnlyList<SourceConfiguration> sources, string why)
    {
        if (path.Length > 0 && sources.FirstOrDefault(source => source.Folder.Length > 0 && IsInside(path, source.Folder)) is { } source)
        {
            log.ReportAt(key, new ValueFault($"lies inside the folder of the source {source.Name}. {why}", "Choose a place outside all sources."));
        }
    }

    private static bool IsInside(string path, string folder)
    {
        string outer = Path.TrimEndingDirectorySeparator(Path.GetFullPath(Watched(folder))) + Path.DirectorySeparatorChar;
        string inner = Path.TrimEndingDirectorySeparator(Path.GetFullPath(Watched(path))) + Path.DirectorySeparatorChar;
        return inner.StartsWith(outer, StringComparison.Ordinal);
    }

    /// <summary>The folder that is really watched: that above a last part of "*".</summary>
    private static string Watched(string folder) => folder.EndsWith("/*", StringComparison.Ordinal) ? folder[..^1] : folder;

    private static string Key(string list, int index, string name) => string.Create(CultureInfo.InvariantCulture, $"{list}[{index + 1}].{name}");
}
