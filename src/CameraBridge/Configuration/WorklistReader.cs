using System.Globalization;

namespace CameraBridge.Configuration;

/// <summary>The vocabulary of <c>worklist</c>: the settings of one, or a list of several.</summary>
internal static class WorklistReader
{
    private static readonly WorklistConfiguration Defaults = new();

    private static readonly (string Word, WorklistKind Kind)[] Kinds = [("dimse", WorklistKind.Dimse), ("mwl-rs", WorklistKind.MwlRs), ("ups-rs", WorklistKind.UpsRs)];

    public static WorklistConfiguration Read(SettingReader reader)
    {
        WorklistKind kind = reader.Has("url") && !reader.Has("kind")
            ? reader.Need("kind", WorklistKind.MwlRs, "Write what stands at url: mwl-rs (Modality Scheduled Procedure Steps) or ups-rs (Unified Procedure Steps).", Kind, Word)
            : reader.Get("kind", Defaults.Kind, Kind, Word);
        return ReadPlace(reader, kind) with
        {
            Kind = kind,
            AskByStation = reader.Flag("ask_by_station", Defaults.AskByStation),
            AskByModality = reader.Flag("ask_by_modality", Defaults.AskByModality),
            DaysAround = reader.Number("days_around", Defaults.DaysAround, 0, 366),
            RequireStation = reader.Flag("require_station", Defaults.RequireStation),
            RequireModality = reader.Flag("require_modality", Defaults.RequireModality),
            AnswerLimit = reader.Number("answer_limit", Defaults.AnswerLimit, 1, 100_000),
            RetryAfter = reader.Duration("retry_after", Defaults.RetryAfter, TimeSpan.FromSeconds(1), TimeSpan.FromDays(1)),
        };
    }

    /// <summary>What must hold between the settings of one worklist, and between all.</summary>
    public static void Check(IReadOnlyList<WorklistConfiguration> worklists, SettingLog log)
    {
        for (int i = 0; i < worklists.Count; i++)
        {
            // One that stands without a list has no number.
            string key = log.Settings.Any(setting => setting.Key == "worklist.kind") ? "worklist" : string.Create(CultureInfo.InvariantCulture, $"worklist[{i + 1}]");
            WorklistConfiguration worklist = worklists[i];
            if (worklist.Web is { } web)
            {
                WebReader.Check(web, key, log);
            }

            if (worklist.Kind == WorklistKind.UpsRs && (worklist.AskByModality || worklist.RequireModality))
            {
                log.ReportAt(
                    worklist.AskByModality ? $"{key}.ask_by_modality" : $"{key}.require_modality",
                    new ValueFault("is for worklists of modalities; Unified Procedure Steps tell none", "Leave it out."));
            }

            if (worklists.Take(i).Any(other => other.Name.Equals(worklist.Name, StringComparison.OrdinalIgnoreCase)) && worklist.Name.Length > 0)
            {
                log.ReportAt(
                    log.Knows($"{key}.name") ? $"{key}.name" : $"{key}.called_ae_title",
                    new ValueFault("is how another worklist is called, too", "Give each its own name, by name."));
            }
        }
    }

    private static WorklistConfiguration ReadPlace(SettingReader reader, WorklistKind kind)
    {
        if (kind != WorklistKind.Dimse)
        {
            return new WorklistConfiguration
            {
                Web = WebReader.ReadConnection(reader, reader.NeedText("name", "Give the worklist a short name; messages use it.", SettingValues.Name)),
            };
        }

        string? name = reader.Get<string?>("name", null, (string text, out string? value) => SettingValues.Name(value = text), value => value ?? "");
        PeerConfiguration peer = ConfigurationReader.ReadPeer(reader, "");
        return new WorklistConfiguration { Peer = peer with { Name = name ?? peer.CalledAETitle } };
    }

    private static ValueFault? Kind(string text, out WorklistKind kind)
    {
        (string? word, kind) = Array.Find(Kinds, known => known.Word == text);
        return word is not null ? null : new ValueFault("is no kind of worklist", $"Write one of {string.Join(", ", Kinds.Select(known => known.Word))}.");
    }

    private static string Word(WorklistKind kind) => Array.Find(Kinds, known => known.Kind == kind).Word;
}
