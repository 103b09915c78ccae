using System.CommandLine;
using System.Globalization;
using System.Text.Json;
using CameraBridge.Configuration;
using CameraBridge.Practice.Sticks;

namespace CameraBridge.Commands;

/// <summary><c>practice</c>: rehearse without a hospital: a drawn stick, a practice hospital, and whether everything went where it should.</summary>
internal static class PracticeCommand
{
    public static Verb Build(Terminal terminal) => new("practice", "Rehearse: a drawn stick of pictures, a practice hospital, and a comparison of what came of it.", ExitCodes.UsageOrConfiguration)
    {
        PracticeHospitalCommand.Build(terminal),
        Stick(terminal),
        Compare(terminal),
    };

    private static Verb Stick(Terminal terminal)
    {
        Argument<string> folder = new("DIR") { Description = "Where to: DIR/stick, DIR/orders.yaml and DIR/truth.json are written." };
        Option<int> seed = new("--seed") { Description = "The same seed and day draw the same stick.", DefaultValueFactory = _ => 1 };
        Option<string?> day = new("--day") { Description = "The day of the pictures and orders, YYYY-MM-DD; else today.", HelpName = "DATE" };
        Option<string> zone = new("--time-zone") { Description = "The zone of the camera's clock.", DefaultValueFactory = _ => "Europe/London" };
        Option<int> folders = new("--folders") { Description = "In place of the clinic morning: so many labelled folders.", HelpName = "N" };
        Option<int> pictures = new("--pictures") { Description = "Pictures in each of these folders.", HelpName = "M", DefaultValueFactory = _ => 50 };
        Verb verb = new("stick", "Draw a stick of pictures, the orders that its patients have, and what must come of it.", ExitCodes.UsageOrConfiguration)
        {
            folder, seed, day, zone, folders, pictures,
        };
        verb.SetAction(parsed =>
        {
            DateOnly date = DayOf(parsed.GetValue(day));
            if (SettingValues.Zone(parsed.GetValue(zone)!, out TimeZoneInfo? clock) is { } fault)
            {
                throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", $"--time-zone {fault.What}. {fault.Fix}");
            }

            int count = parsed.GetValue(folders);
            StickPlan plan = count > 0 ? StickPlan.Many(date, count, parsed.GetValue(pictures)) : StickPlan.Clinic(date);
            string root = Path.GetFullPath(parsed.GetValue(folder)!);
            string stick = Path.Combine(root, "stick");
            if (Directory.Exists(stick) && Directory.EnumerateFileSystemEntries(stick).Any())
            {
                throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", $"{stick} is not empty. Name another folder, or remove it first.");
            }

            using (Progress progress = new(terminal, "Drawing", plan.Folders.Sum(part => part.Shots.Count)))
            {
                StickDrawer.Draw(plan, stick, parsed.GetValue(seed), date, clock!, progress.Report);
            }

            int files = Directory.EnumerateFiles(stick, "*", SearchOption.AllDirectories).Count();
            File.WriteAllText(Path.Combine(root, "orders.yaml"), StickOrders.Write(plan.Orders));
            File.WriteAllText(Path.Combine(root, "truth.json"), JsonSerializer.Serialize(plan.Truth, JsonReply.Format));
            if (parsed.GetValue(CommonOptions.Json))
            {
                JsonReply.Write(terminal.Out, new { Stick = stick, Folders = plan.Folders.Count, Files = files, Orders = plan.Orders.Count });
            }
            else
            {
                terminal.Out.WriteLine(FormattableString.Invariant($"{stick}: {plan.Folders.Count} folders, {files} files, {plan.Orders.Count} orders."));
            }
        });
        return verb;
    }

    private static Verb Compare(Terminal terminal)
    {
        Argument<string> folder = new("DIR") { Description = "The folder that 'practice stick' wrote; its truth.json is compared." };
        Option<string> report = new("--report") { Description = "The JSON report of 'once'.", HelpName = "FILE", Required = true };
        Option<string> archive = new("--archive") { Description = "The folder where the practice archive keeps what it received.", HelpName = "DIR", Required = true };
        Verb verb = new("compare", "Whether a run filed and held what it should: the truth of the drawn stick against report and archive. Exits 1 where not.", ExitCodes.UsageOrConfiguration)
        {
            folder, report, archive,
        };
        verb.SetAction(async (parsed, cancellation) =>
        {
            StickTruth truth = Read<StickTruth>(Path.Combine(parsed.GetValue(folder)!, "truth.json"));
            IReadOnlyList<TruthLine> lines = await StickComparison
                .CompareAsync(truth, Read<OnceReply>(parsed.GetValue(report)!), parsed.GetValue(archive)!, cancellation).ConfigureAwait(false);
            bool good = lines.All(line => line.Good);
            if (parsed.GetValue(CommonOptions.Json))
            {
                JsonReply.Write(terminal.Out, new { AsExpected = good, Lines = lines });
            }
            else
            {
                TextTable.Write(
                    terminal.Out, ["folder", "expected", "found", ""], lines.Select(line => (IReadOnlyList<string>)[line.Folder, line.Expected, line.Found, line.Good ? "ok" : "WRONG"]));
                terminal.Out.WriteLine(good ? "Everything went where it should." : "Not everything went where it should.");
            }

            return good ? ExitCodes.AllWell : ExitCodes.Bug;
        });
        return verb;
    }

    private static DateOnly DayOf(string? written) =>
        written is null ? DateOnly.FromDateTime(TimeProvider.System.GetLocalNow().Date)
        : DateOnly.TryParseExact(written, "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out DateOnly day) ? day
        : throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", $"--day {written} is no date. Write YYYY-MM-DD.");

    private static T Read<T>(string path)
    {
        try
        {
            return JsonSerializer.Deserialize<T>(File.ReadAllText(path), JsonReply.Format)
                ?? throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", $"{path} holds nothing.");
        }
        catch (Exception fault) when (fault is IOException or UnauthorizedAccessException or JsonException)
        {
            throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", $"{path} cannot be read ({fault.Message.TrimEnd('.')}). Name the file that the run wrote.");
        }
    }
}
