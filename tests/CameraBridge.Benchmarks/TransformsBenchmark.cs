using System.Diagnostics;
using System.Globalization;
using CameraBridge.Dicom.Bitstreams;

namespace CameraBridge.Benchmarks;

/// <summary>
/// Lossless rotation and progressive conversion, beside libjpeg-turbo's jpegtran in the same run on the same photographs. jpegtran is a process for each picture: what it
/// takes to start is measured with a picture of one block and told apart. Both read a file and write a file; both make Huffman tables for the picture (jpegtran by
/// -optimize, without which it is faster and its files are larger). Each is run several times in turns, the middle time counts, and the product's code is warm, as a
/// service's is; its first time is told, too.
/// </summary>
internal static class TransformsBenchmark
{
    private const string Jpegtran = "/usr/bin/jpegtran", Python = "/usr/bin/python3";
    private const int Runs = 7;

    /// <summary>The parent of the process that is measured tells the most memory it had (getrusage).</summary>
    private const string PeakScript = "import resource,subprocess,sys; subprocess.run(sys.argv[1:],check=True); print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)";

    public static async Task<int> RunAsync(string[] arguments)
    {
        if (arguments is ["--one", var one, var number, var target])
        {
            Transform(one, int.Parse(number, CultureInfo.InvariantCulture), target);
            return 0;
        }

        string folder = arguments.Length > 0 ? arguments[0] : Environment.GetEnvironmentVariable("CAMERABRIDGE_PHOTOS") ?? "artifacts/peers/photos";
        string work = Directory.CreateTempSubdirectory("transforms-").FullName;
        try
        {
            string[] photographs = Choose(folder);
            if (photographs.Length == 0)
            {
                Console.Error.WriteLine($"No photographs of a megapixel or more in {folder}; fetch them with tests/peers/fetch_photos.sh {folder}");
                return 2;
            }

            double start = await StartAsync(work);
            Console.WriteLine($"jpegtran's start: {start:F1} ms, taken off its times below");
            Console.WriteLine($"{"photograph",-30}{"megapixels",11}{"what",29}{"own ms",9}{"first",8}{"jpegtran",10}{"ratio",7}{"plain",8}{"ratio",7}{"own MiB",9}{"jpegtran",9}{"own KB",8}{"jpegtran",9}");
            var ratios = new Dictionary<string, List<double>>(StringComparer.Ordinal);
            foreach (string photograph in photographs)
            {
                string progressive = Path.Combine(work, "progressive.jpg");
                await RunAsync(Jpegtran, ["-copy", "none", "-progressive", "-outfile", progressive, photograph]);
                JpegHeader header = JpegHeader.ReadFile(photograph);
                int turn = JpegOrientation.Of(6).FitsGridOf(header) ? 6 : JpegOrientation.Of(8).FitsGridOf(header) ? 8 : 5;
                (string What, string File, int Orientation)[] tasks =
                [
                    (turn switch { 6 => "turn by 90 degrees", 8 => "turn by 270 degrees", _ => "transpose (grid)" }, photograph, turn),
                    ("progressive to baseline", progressive, 1),
                    ("progressive, and transpose", progressive, 5),
                ];
                foreach ((string what, string file, int orientation) in tasks)
                {
                    ratios.TryAdd(what, []);
                    ratios[what].Add(await CompareAsync(Path.GetFileName(photograph), header, what, file, orientation, start, work));
                }
            }

            foreach ((string what, List<double> of) in ratios)
            {
                Console.WriteLine($"{what}: {of.Order().ElementAt(of.Count / 2):F2} of jpegtran's time in the middle, {of.Max():F2} at most");
            }

            return 0;
        }
        finally
        {
            Directory.Delete(work, recursive: true);
        }
    }

    /// <summary>The largest photographs of different sizes that are baseline, without what jpegtran would have to guess.</summary>
    private static string[] Choose(string folder) => !Directory.Exists(folder) ? [] :
    [
        .. Directory.EnumerateFiles(folder, "*.jp*g", SearchOption.AllDirectories)
            .Select(path => (Path: path, Header: JpegHeader.ReadFile(path)))
            .Where(file => JpegBaseline.Judge(file.Header) is null && file.Header.Rows * file.Header.Columns >= 1_000_000)
            .DistinctBy(file => (file.Header.Rows, file.Header.Columns))
            .OrderByDescending(file => (long)file.Header.Rows * file.Header.Columns)
            .Take(6)
            .Select(file => file.Path),
    ];

    private static async Task<double> CompareAsync(string name, JpegHeader header, string what, string file, int orientation, double start, string work)
    {
        string target = Path.Combine(work, "turned.jpg");
        var own = new List<double>();
        var optimal = new List<double>();
        var plain = new List<double>();
        for (int run = 0; run < Runs; run++)
        {
            own.Add(Milliseconds(() => Transform(file, orientation, target)));
            optimal.Add(await MillisecondsAsync(Jpegtran, Arguments(file, orientation, target, "-optimize")) - start);
            plain.Add(await MillisecondsAsync(Jpegtran, Arguments(file, orientation, target)) - start);
        }

        Transform(file, orientation, target);
        long ownBytes = new FileInfo(target).Length;
        long theirPeak = await PeakAsync(Jpegtran, Arguments(file, orientation, target, "-optimize"));
        long theirBytes = new FileInfo(target).Length;
        long ownPeak = await PeakAsync(Environment.ProcessPath!, ["transforms", "--one", file, orientation.ToString(CultureInfo.InvariantCulture), target]);
        (double ours, double theirs, double theirPlain) = (Median(own), Median(optimal), Median(plain));
        Console.WriteLine(
            $"{name[..Math.Min(28, name.Length)],-30}{header.Rows * (double)header.Columns / 1e6,11:F1}{what,29}{ours,9:F1}{own[0],8:F1}{theirs,10:F1}{ours / theirs,7:F2}{theirPlain,8:F1}{ours / theirPlain,7:F2}{ownPeak >> 10,9}{theirPeak >> 10,9}{ownBytes >> 10,8}{theirBytes >> 10,9}");
        return ours / theirs;
    }

    private static string[] Arguments(string file, int orientation, string target, params string[] more) =>
    [
        "-copy", "none", "-perfect", .. more,
        .. orientation switch { 1 => (string[])[], 5 => ["-transpose"], 6 => ["-rotate", "90"], _ => ["-rotate", "270"] },
        "-outfile", target, file,
    ];

    private static void Transform(string file, int orientation, string target)
    {
        JpegHeader header = JpegHeader.ReadFile(file);
        using JpegCoefficients coefficients = JpegCoefficients.ReadFile(header, file, out JpegRefusal? refusal)
            ?? throw new InvalidOperationException(refusal!.Text);
        using FileStream stream = new(target, FileMode.Create, FileAccess.Write, FileShare.None, bufferSize: 0);
        if (coefficients.WriteBaseline(stream, JpegOrientation.Of(orientation), out _) is { } other)
        {
            throw new InvalidOperationException(other.Text);
        }
    }

    /// <summary>What a process of jpegtran takes that has next to nothing to do.</summary>
    private static async Task<double> StartAsync(string work)
    {
        string small = Path.Combine(work, "small.ppm");
        await File.WriteAllBytesAsync(small, [.. "P5\n8 8\n255\n"u8, .. new byte[64]]);
        string file = Path.Combine(work, "small.jpg");
        await RunAsync("/usr/bin/cjpeg", ["-outfile", file, small]);
        var times = new List<double>();
        for (int run = 0; run < 20; run++)
        {
            times.Add(await MillisecondsAsync(Jpegtran, Arguments(file, 5, Path.Combine(work, "small-turned.jpg"))));
        }

        return Median(times);
    }

    internal static double Median(List<double> times) => times.Order().ElementAt(times.Count / 2);

    private static double Milliseconds(Action action)
    {
        long start = Stopwatch.GetTimestamp();
        action();
        return Stopwatch.GetElapsedTime(start).TotalMilliseconds;
    }

    private static async Task<double> MillisecondsAsync(string program, string[] arguments)
    {
        long start = Stopwatch.GetTimestamp();
        await RunAsync(program, arguments);
        return Stopwatch.GetElapsedTime(start).TotalMilliseconds;
    }

    private static async Task<long> PeakAsync(string program, string[] arguments) =>
        long.Parse(await RunAsync(Python, ["-c", PeakScript, program, .. arguments]), CultureInfo.InvariantCulture);

    private static async Task<string> RunAsync(string program, string[] arguments)
    {
        using var process = Process.Start(new ProcessStartInfo(program, arguments) { RedirectStandardOutput = true })!;
        string told = await process.StandardOutput.ReadToEndAsync();
        await process.WaitForExitAsync();
        return process.ExitCode == 0 ? told.Trim() : throw new InvalidOperationException($"{program} {string.Join(' ', arguments)} ended with {process.ExitCode}");
    }
}
