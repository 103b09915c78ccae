using System.CommandLine;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;
using CameraBridge.Persistence;

namespace CameraBridge.Commands.Exports;

/// <summary><c>export</c>: a copy of sittings on a stick, for the case that the archive stays away.</summary>
internal static class ExportCommand
{
    public static Verb Build(Terminal terminal)
    {
        Option<long[]> sittings = new("--sitting") { Description = "A sitting; may be given several times.", HelpName = "N" };
        Option<string[]> sources = new("--source") { Description = "All sittings of this source; may be given several times.", HelpName = "NAME" };
        Option<string> to = new("--to") { Description = "An empty or new folder, or one that was written by this command: then it is added to.", HelpName = "FOLDER", Required = true };
        Option<bool> unconfirmed = new("--unconfirmed") { Description = "Only objects that not every destination is known to keep." };
        Option<bool> profileOnly = new("--profile-only")
        {
            Description = $"Leave out what {MediaProfile.GeneralUsbJpeg} does not take (clips), so that the folder as a whole conforms to it.",
        };
        Option<string?> id = new("--id") { Description = "File-set ID of a new folder: up to 16 of A-Z, 0-9 and _; else CB_ and the time.", HelpName = "ID" };
        Option<string?> config = CommonOptions.Config();
        Verb verb = new(
            "export",
            "Copy sittings as a DICOM media folder with DICOMDIR. It is a copy and no confirmation: what is queued stays queued, and no source is released because of it. The folder holds patients' pictures with their names.",
            ExitCodes.UsageOrConfiguration,
            ExitCodes.Held,
            ExitCodes.Undelivered)
        {
            sittings, sources, to, unconfirmed, profileOnly, id, config,
        };
        verb.Validators.Add(result =>
        {
            if (result.GetValue(sittings) is not { Length: > 0 } && result.GetValue(sources) is not { Length: > 0 })
            {
                result.AddError("Say what to export: --sitting N or --source NAME.");
            }

            if (result.GetValue(id) is { } written && !MediaFileID.IsFileSetID(written))
            {
                result.AddError("--id has 1 to 16 characters A-Z, 0-9 and _ (PS3.10 8.1).");
            }
        });
        verb.SetAction(async (parsed, cancellation) =>
        {
            SiteConfiguration site = ConfigurationFile.Load(ConfigurationFile.Locate(parsed.GetValue(config)));
            string folder = Path.GetFullPath(parsed.GetValue(to)!);
            DemandOwnPlace(site, folder);
            IPipelineDatabase database = await HeldCommand.OpenStateAsync(site, cancellation).ConfigureAwait(false);
            await using (database.ConfigureAwait(false))
            {
                DateTimeOffset now = TimeZoneInfo.ConvertTime(TimeProvider.System.GetUtcNow(), site.TimeZone);
                ExportOrder order = new(
                    await ChooseAsync(site, database, parsed.GetValue(sittings) ?? [], parsed.GetValue(sources) ?? [], cancellation).ConfigureAwait(false),
                    parsed.GetValue(profileOnly), parsed.GetValue(unconfirmed));
                string fileSetID = parsed.GetValue(id) ?? now.ToString("'CB_'yyyyMMdd_HHmm", CultureInfo.InvariantCulture);
                using MediaFolder medium = new(folder, Uids.NewFromUuid(), fileSetID);
                await medium.OpenAsync(cancellation).ConfigureAwait(false);
                ExportReply reply;
                using (Progress progress = new(terminal, "export", 0))
                {
                    reply = await new MediaExport(site, database, medium, order, progress).RunAsync(now, cancellation).ConfigureAwait(false);
                }

                if (parsed.GetValue(CommonOptions.Json))
                {
                    JsonReply.Write(terminal.Out, reply);
                }
                else
                {
                    ExportText.Write(terminal.Out, reply);
                }

                return reply.ExitCode;
            }
        });
        return verb;
    }

    /// <summary>
    /// Never among what a camera writes or what the gateway keeps. A source that watches every mount below a folder is no obstacle: the medium may well be
    /// mounted there, and what is no camera's file is only passed over.
    /// </summary>
    private static void DemandOwnPlace(SiteConfiguration site, string folder)
    {
        IEnumerable<(string Path, string What)> kept =
        [
            (site.SpoolFolder, "the spool"),
            .. site.Sources.Where(source => !source.Folder.EndsWith("/*", StringComparison.Ordinal)).Select(source => (source.Folder, $"the source {source.Name}")),
        ];
        foreach ((string path, string what) in kept.Where(one => one.Path.Length > 0))
        {
            string relative = Path.GetRelativePath(Path.GetFullPath(path), folder);
            if (relative == "." || !(relative == ".." || relative.StartsWith("../", StringComparison.Ordinal) || Path.IsPathRooted(relative)))
            {
                throw new CommandException(ExitCodes.UsageOrConfiguration, "folder-in-use", $"{folder} lies in {what}. Name a folder outside of all that the gateway watches and keeps.");
            }
        }
    }

    private static async Task<IReadOnlyList<long>> ChooseAsync(
        SiteConfiguration site, IPipelineDatabase database, IReadOnlyList<long> sittings, IReadOnlyList<string> sources, CancellationToken cancellation)
    {
        List<long> chosen = [.. sittings];
        foreach (string source in sources)
        {
            IReadOnlyList<long> found = await database.GetSittingsOfSourceAsync(source, cancellation).ConfigureAwait(false);
            if (found.Count == 0 && site.FindSource(source) is null)
            {
                string? nearest = NearestWord.Of(source, site.Sources.Select(one => one.Name));
                throw new CommandException(
                    ExitCodes.UsageOrConfiguration, "no-such-source",
                    $"There is no source '{source}' in the configuration, and nothing was ever taken of one.{(nearest is null ? "" : $" Did you mean {nearest}?")}");
            }

            chosen.AddRange(found);
        }

        return [.. chosen.Distinct().Order()];
    }
}
