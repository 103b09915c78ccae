using CameraBridge.Pipeline.Captures;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Captures;

/// <summary>Scans of real folders, in memory, since some are large.</summary>
public sealed class SourceScanTests : IDisposable
{
    private static readonly HashSet<UInt128> NoHints = [];
    private readonly DirectoryInfo _folder = Directory.CreateDirectory($"/dev/shm/scan-{Guid.NewGuid():N}");
    private readonly ScanMemory _memory = new(new SettlingFiles(TimeSpan.FromSeconds(3), TimeSpan.FromMinutes(10)));

    [Fact]
    public void Files_in_folders_of_any_depth_are_found()
    {
        string deep = string.Join('/', Enumerable.Range(1, 200).Select(level => level.ToString("d3", null)));
        CaptureRig.WriteBelow(_folder.FullName, "a.jpg");
        CaptureRig.WriteBelow(_folder.FullName, $"{deep}/b.jpg");

        ScanResult result = Scan();

        Assert.True(result.Complete);
        Assert.Equal(["a.jpg", $"{deep}/b.jpg"], Settling().Order(StringComparer.Ordinal).OrderBy(place => place.Length));
    }

    [Fact]
    public void Known_files_are_compared_only_when_there_is_a_reason()
    {
        Populate(folders: 10, files: 30);
        Assert.Equal(300, Scan().Compared);
        Assert.Equal(300, Scan().Known);

        // 300 files are few enough to be compared by turns in every scan, so the turns are spread by many more marks of places that are elsewhere.
        for (int index = 0; index < 400_000; index++)
        {
            _memory.Known.Set((UInt128)(uint)index, new Mark());
        }

        Assert.InRange(Scan().Compared, 0, 20);

        CaptureRig.WriteBelow(_folder.FullName, "5/new.jpg");
        Assert.InRange(Scan().Compared, 30, 50);

        ScanResult hinted = Scan(hints: new HashSet<UInt128> { KnownPlaces.KeyOf("7/8.jpg") });
        Assert.InRange(hinted.Compared, 1, 20);

        _memory.Known.DoubtAll();
        Assert.Equal(300, Scan().Compared);
    }

    [Fact]
    public void Every_known_file_has_its_turn_to_be_compared()
    {
        Populate(folders: 1, files: 6_000);
        Scan();
        string path = Path.Combine(_folder.FullName, "0/17.jpg");
        using (FileStream file = File.OpenWrite(path))
        {
            // The folder's time does not change with this, and nobody hints at it.
            file.SetLength(99);
        }

        for (int scan = 0; scan < 3 && Settling().Count == 0; scan++)
        {
            Scan();
        }

        Assert.Equal("0/17.jpg", Assert.Single(Settling()));
    }

    [Fact]
    public void Comparing_stops_at_its_time_limit_and_goes_on_in_the_next_scan()
    {
        Populate(folders: 1, files: 100);
        _memory.Known.DoubtAll();
        var clock = new SteppingClock();

        ScanResult first = Scan(clock: clock, limit: TimeSpan.FromMilliseconds(500));
        Assert.InRange(first.Compared, 10, 60);
        ScanResult second = Scan(clock: clock, limit: TimeSpan.FromMilliseconds(500));

        Assert.InRange(second.Compared, 10, 60);
        Assert.Equal(100, first.Known);
        Assert.Equal(100, Scan().Compared);
    }

    [Fact]
    public void A_folder_that_vanishes_in_the_middle_of_a_scan_stops_nothing()
    {
        Populate(folders: 20, files: 3, known: false);

        // The heart beats once for each folder: the third beat takes away the folders that are still to be listed.
        var clock = new ActingClock(onCall: 4, () =>
        {
            for (int index = 0; index < 20; index++)
            {
                Directory.Delete(Path.Combine(_folder.FullName, index.ToString(null, null)), recursive: true);
            }
        });
        ScanResult result = Scan(clock: clock);

        Assert.True(result.Complete);
        Assert.InRange(_memory.Settling.Count, 1, 59);
        Scan();
        SourceScan.Forget(_memory);
        Assert.Equal(0, _memory.Settling.Count);
    }

    [Fact]
    public void A_scan_of_20000_known_files_takes_next_to_no_memory()
    {
        Populate(folders: 200, files: 100);
        Scan();
        long before = GC.GetAllocatedBytesForCurrentThread();

        ScanResult result = Scan();

        long allocated = GC.GetAllocatedBytesForCurrentThread() - before;
        Assert.Equal(20_000, result.Known);
        Assert.True(allocated < 1_000_000, $"{allocated} bytes were allocated");
    }

    [Fact]
    public void What_is_remembered_of_a_known_file_is_small()
    {
        var known = new KnownPlaces();
        long before = GC.GetTotalMemory(forceFullCollection: true);
        for (int index = 0; index < 200_000; index++)
        {
            known.Set(KnownPlaces.KeyOf($"{index / 100}/{index}.jpg"), new Mark { Size = index });
        }

        long grown = GC.GetTotalMemory(forceFullCollection: true) - before;
        Assert.Equal(200_000, known.Count);
        Assert.True(grown < 40L << 20, $"{grown} bytes for 200,000 places");
    }

    [Fact]
    public void A_path_that_is_too_long_for_the_system_is_said()
    {
        // 20 folders of 250 bytes each: beyond PATH_MAX, 4,096 bytes (limits.h of Linux).
        CaptureRig.Run("bash", "-c", "cd \"$0\" && for i in $(seq 20); do n=$(printf 'd%.0s' $(seq 250)); mkdir $n && cd $n; done; touch a.jpg", _folder.FullName);
        try
        {
            ScanResult result = Scan();

            Assert.False(result.Complete);
            Assert.Equal(SkipReason.PathTooLong, Assert.Single(result.Skipped.ToList()).Reason);
        }
        finally
        {
            CaptureRig.Run("rm", "-rf", _folder.FullName);
            _folder.Create();
        }
    }

    public void Dispose() => _folder.Delete(recursive: true);

    private ScanResult Scan(IReadOnlySet<UInt128>? hints = null, TimeProvider? clock = null, TimeSpan? limit = null)
    {
        _memory.Scan++;
        TimeProvider time = clock ?? TimeProvider.System;
        var options = new ScanOptions(DateTimeOffset.UtcNow, AgeCounts: false, limit, hints ?? NoHints);
        return new SourceScan(_folder.FullName, _memory, options, time, new Heartbeat(time)).Run(TestContext.Current.CancellationToken);
    }

    private List<string> Settling() => [.. _memory.Settling.TakeDue(DateTimeOffset.UtcNow.AddYears(1)).Select(file => file.Place)];

    private void Populate(int folders, int files, bool known = true)
    {
        for (int folder = 0; folder < folders; folder++)
        {
            string path = Path.Combine(_folder.FullName, folder.ToString(null, null));
            Directory.CreateDirectory(path);
            for (int file = 0; file < files; file++)
            {
                string name = Path.Combine(path, $"{file}.jpg");
                File.WriteAllBytes(name, [0xFF, 0xD8, 0xFF]);
                if (known)
                {
                    _memory.Known.Set(
                        KnownPlaces.KeyOf($"{folder}/{file}.jpg"),
                        new Mark { Size = 3, ModifiedMs = new DateTimeOffset(File.GetLastWriteTimeUtc(name)).ToUnixTimeMilliseconds() });
                }
            }
        }
    }

    /// <summary>Every look at it costs ten milliseconds.</summary>
    private sealed class SteppingClock : TimeProvider
    {
        private long _timestamp;

        public override long GetTimestamp() => _timestamp += TimestampFrequency / 100;
    }
}
