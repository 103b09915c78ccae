using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Configuration;

/// <summary>The vocabulary of routes.</summary>
internal static class RouteReader
{
    public static RouteConfiguration Read(SettingReader reader) => new()
    {
        Sources = Names(reader, "sources"),
        Optics = Names(reader, "optics"),
        Modalities = Names(reader, "modalities"),
        Kind = reader.Get<CaptureKind?>("kind", null, Kind, value => value?.ToString().ToLowerInvariant() ?? ""),
        Order = reader.List("order", ReadCondition),
        To = Names(reader, "to"),
    };

    /// <summary>What must hold between routes and the rest: every name is known, and no object is left without a way.</summary>
    public static void Check(SiteConfiguration site, SettingLog log)
    {
        for (int i = 0; i < site.Routes.Count; i++)
        {
            RouteConfiguration route = site.Routes[i];
            string key = string.Create(CultureInfo.InvariantCulture, $"routes[{i + 1}]");
            Known(log, $"{key}.sources", route.Sources, [.. site.Sources.Select(source => source.Name)], "source");
            Known(log, $"{key}.optics", route.Optics, [.. site.Optics.Names], "optic");
            Known(log, $"{key}.to", route.To, [.. site.Destinations.Select(destination => destination.Name)], "destination");
            if (route.To.Count == 0)
            {
                log.ReportAt($"{key}.to", new ValueFault("names no destination, so what takes this route would go nowhere", "Write to: [NAME, ...]."));
            }

            if (route.IsOpen && i < site.Routes.Count - 1)
            {
                log.ReportAt($"{key}.to", new ValueFault("belongs to a route without conditions, so none behind it is ever taken", "Move it to the end."));
            }
        }

        if (site.Routes.Count > 0 && !site.Routes[^1].IsOpen)
        {
            log.ReportAt(
                string.Create(CultureInfo.InvariantCulture, $"routes[{site.Routes.Count}].to"),
                new ValueFault("belongs to the last route, which has conditions: what fits no route would go nowhere", "Add a last route with nothing but to: [...]."));
        }
    }

    private static void Known(SettingLog log, string key, IReadOnlyList<string> names, IReadOnlyList<string> known, string what)
    {
        foreach (string name in names.Where(name => !known.Contains(name, StringComparer.Ordinal)))
        {
            log.ReportAt(key, new ValueFault($"names a {what} that is not configured, {name}", NearestWord.Of(name, known) is { } nearest ? $"Did you mean {nearest}?" : $"There is {string.Join(", ", known)}."));
        }
    }

    private static IReadOnlyList<string> Names(SettingReader reader, string key) =>
        reader.Many(key, [], (string text, out string value) => (value = text).Length > 0 ? null : new ValueFault("is empty", "Write a name."), value => value);

    private static ValueFault? Kind(string text, out CaptureKind? value)
    {
        value = text switch
        {
            "still" => CaptureKind.Still,
            "clip" => CaptureKind.Clip,
            _ => null,
        };
        return value is null ? new ValueFault("is neither still nor clip", "Write still or clip, or leave it out for both.") : null;
    }

    private static OrderCondition ReadCondition(SettingReader reader)
    {
        Tag tag = reader.Need("attribute", Tags.AccessionNumber, "Write the keyword of an attribute of the worklist, for example RequestedProcedurePriority.", Attribute, value => TagDictionary.Find(value)!.Keyword);
        System.Text.RegularExpressions.Regex pattern = reader.Need<System.Text.RegularExpressions.Regex?>(
            "matches", null, "Write a regular expression that one of its values must match.", SettingValues.Expression, value => value?.ToString() ?? "") ?? new("");
        return new OrderCondition(TagDictionary.Find(tag)!.Keyword, tag, pattern);
    }

    private static ValueFault? Attribute(string text, out Tag value)
    {
        TagEntry? entry = TagDictionary.Find(text);
        value = entry?.Tag ?? Tags.AccessionNumber;
        return entry is null ? new ValueFault("is no keyword of the data dictionary (PS3.6)", "Write for example RequestedProcedurePriority, RequestedProcedureDescription or ReferringPhysicianName.") : null;
    }
}
