using System.Globalization;
using CameraBridge.Tests.Persistence;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>
/// The running service under kills, while its disk fills up, its stick is pulled out, its state is read-only or its clock is set: each for a while, with kills in
/// between, and then everything is right again. What must hold is the same as under kills alone (<see cref="KilledSite"/>), and the service must have said
/// what was wrong and what to do.
/// </summary>
public sealed class KilledInTroubleTests
{
    /// <summary>Of each trouble, if CAMERABRIDGE_KILLS says no other number.</summary>
    private const int Kills = 8;

    /// <summary>Longer than a stick is away: what comes later than this is held, and not what is looked at here.</summary>
    private const string PulledQuietTime = "8 s";

    /// <summary>By when the service has seen the stick, unless the machine is very busy.</summary>
    private static readonly TimeSpan WhileItLooks = TimeSpan.FromSeconds(1);

    [Fact]
    public async Task However_often_it_is_killed_while_its_disk_fills_up_nothing_is_lost_doubled_released_early_or_left_open()
    {
        await using KilledSite site = await KilledSite.StartAsync(Kills, disk: "disk");
        using SmallDisk? disk = SmallDisk.TryMount(site.Disk, "64m");
        Assert.SkipWhen(disk is null, "mounting a tmpfs needs the rights of root");

        await site.KillAsync(round =>
        {
            // Two rounds in three begin with little room; half of those get it back while the service runs.
            int freeKibibytes = round % 3 == 0 ? 64 << 10 : site.Random.Next(600);
            TimeSpan roomAt = TimeSpan.FromMilliseconds(site.Time(2000));
            Resize(freeKibibytes);
            return new Trouble
            {
                MayEnd = true,
                Meanwhile = async over =>
                {
                    await Task.Delay(roomAt, TimeProvider.System, over);
                    Resize(64 << 10);
                },
            };
        });
        Resize(0);
        site.BringFolder();
        await site.AssertSaysAsync(
            Trouble.None,
            [$"spool folder {site.Site.Spool} takes no more pictures", "Free or repair that disk"],
            [$"state {site.Site.StateFile} is on a disk that is full", "free space there"]);
        Resize(64 << 10);

        await site.AssertItComesToRestAsync();

        void Resize(int freeKibibytes)
        {
            DriveInfo drive = new(site.Disk);
            long kibibytes = ((drive.TotalSize - drive.TotalFreeSpace) >> 10) + freeKibibytes;
            disk.TryResize(string.Create(CultureInfo.InvariantCulture, $"{kibibytes}k"));
        }
    }

    [Fact]
    public async Task However_often_it_is_killed_while_the_stick_is_pulled_out_and_put_back_nothing_is_lost_doubled_released_early_or_left_open()
    {
        await using KilledSite site = await KilledSite.StartAsync(Kills, quietTime: PulledQuietTime);
        string away = Path.Combine(site.Site.Folder, "pulled out");

        await site.KillAsync(round =>
        {
            TimeSpan first = TimeSpan.FromMilliseconds(site.Time(1200)), pause = TimeSpan.FromMilliseconds(site.Time(900));
            bool leavesMountPoint = site.Random.Next(2) == 0;
            if (site.Random.Next(2) == 0)
            {
                PutBack();
            }

            return new Trouble
            {
                Meanwhile = async over =>
                {
                    await Task.Delay(first, TimeProvider.System, over);
                    Turn(leavesMountPoint);
                    await Task.Delay(pause, TimeProvider.System, over);
                    Turn(leavesMountPoint);
                },
            };
        });
        PutBack();
        string unfinished = Path.Combine(site.Site.Stick, "IMG_0009.JPG");
        await File.WriteAllBytesAsync(unfinished, [], TestContext.Current.CancellationToken);
        Trouble pulled = new()
        {
            Meanwhile = async over =>
            {
                while (true)
                {
                    await Task.Delay(WhileItLooks, TimeProvider.System, over);
                    Turn(leavesMountPoint: true);
                }
            },
        };
        await site.AssertSaysAsync(pulled, ["Source stick went before", "put it back"]);
        PutBack();
        File.Delete(unfinished);

        await site.AssertItComesToRestAsync();

        void Turn(bool leavesMountPoint)
        {
            if (site.StickIsAt == away)
            {
                PutBack();
                return;
            }

            Directory.Move(site.Site.Stick, away);
            site.StickIsAt = away;
            if (leavesMountPoint)
            {
                Directory.CreateDirectory(site.Site.Stick);
            }
        }

        void PutBack()
        {
            if (site.StickIsAt == away)
            {
                // Nothing was written where the stick was not.
                if (Directory.Exists(site.Site.Stick))
                {
                    Directory.Delete(site.Site.Stick);
                }

                Directory.Move(away, site.Site.Stick);
                site.StickIsAt = site.Site.Stick;
            }
        }
    }

    [Fact]
    public async Task However_often_it_is_killed_while_its_state_is_read_only_nothing_is_lost_doubled_released_early_or_left_open()
    {
        await using KilledSite site = await KilledSite.StartAsync(Kills);
        string[] errors = ["EROFS", "EACCES"];

        await site.KillAsync(round =>
        {
            // Every other time from the start on, when it cannot even be opened for writing.
            int from = round % 2 == 0 ? -1 : site.Time(1000);
            int to = from + 100 + site.Time(800);
            return new Trouble
            {
                MayEnd = true,
                Environment = round % 4 == 3
                    ? new Dictionary<string, string>()
                    : new Dictionary<string, string>
                    {
                        ["KILLPOINT_FAIL"] = string.Create(CultureInfo.InvariantCulture, $"{errors[site.Random.Next(2)]}:{from}:{to}:{site.Site.StateFile}"),
                    },
            };
        });

        await site.AssertSaysAsync(
            new Trouble { Environment = new Dictionary<string, string> { ["KILLPOINT_FAIL"] = $"EROFS:-1:600000:{site.Site.StateFile}" } },
            [$"state {site.Site.StateFile} is read-only", "give the service's user the right to write the file and its folder"],
            [$"state {site.Site.StateFile} cannot be opened", "mounted for writing"]);

        await site.AssertItComesToRestAsync();
    }

    [Fact]
    public async Task However_often_it_is_killed_while_its_clock_is_set_nothing_is_lost_doubled_released_early_or_left_open()
    {
        await using KilledSite site = await KilledSite.StartAsync(Kills);
        int[] hours = [-1, 0, 1];

        await site.KillAsync(round => new Trouble
        {
            Environment = new Dictionary<string, string>
            {
                ["KILLPOINT_CLOCK"] = string.Create(
                    CultureInfo.InvariantCulture,
                    $"{3600 * hours[site.Random.Next(hours.Length)]}:{site.Time(1000)}:{3600 * hours[site.Random.Next(hours.Length)]}"),
            },
        });

        await site.AssertSaysAsync(
            new Trouble { Environment = new Dictionary<string, string> { ["KILLPOINT_CLOCK"] = "7200:1000:0" } },
            ["The clock of this machine was set back by", "Look at its time service"]);

        await site.AssertItComesToRestAsync();
    }
}
