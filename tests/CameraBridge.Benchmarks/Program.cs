using CameraBridge.Benchmarks;

// CameraBridge.Benchmarks VERB [options]: each verb is one measurement, with whatever it is compared with in the same run.
Dictionary<string, (string What, Func<string[], Task<int>> RunAsync)> verbs = new(StringComparer.Ordinal)
{
    ["backlog"] = ("100,000 to 300,000 objects that wait for an archive: memory, start, and recovery after a kill: [--program FILE]", BacklogBenchmark.RunAsync),
    ["clinic"] = ("a simulated clinic with truth: how true the probabilities of joint matching are, or a day of it as sticks and orders: [--seed N] [--days N] [--write DIR] [--no-show X ...]", ClinicBenchmark.RunAsync),
    ["clips"] = ("a clip of 4 GB judged, wrapped and sent, against a copy of the same bytes; and through the whole flow: [--folder FOLDER] [--program FILE]", ClipsBenchmark.RunAsync),
    ["flow"] = ("5,000 pictures through the whole flow, against copy, SHA-256 and fsync of them plus storescu: [--program FILE] [--labels no|yes]", FlowBenchmark.RunAsync),
    ["intake"] = ("5,000 files of 100 KB into the spool, against a loop of copy, SHA-256 and fsync: [FOLDER on the disk to measure]", IntakeBenchmark.RunAsync),
    ["joint"] = ("joint matching of 60 sittings against 120 steps, beside a Monte Carlo chain, and its error where it can be summed exactly: [--days N]", JointBenchmark.RunAsync),
    ["labelled"] = ("sittings with a label on each, and all that goes wrong with labels, through the rules: none is filed wrongly: [--sittings N] [--seed N] [--lone-wrong-sheets X]", LabelledBenchmark.RunAsync),
    ["labels"] = ("the look at a picture: how many labels are read, and what it costs: [FOLDER of photographs]", Labels.RunAsync),
    ["latency"] = ("from a settled file to its confirmation, at 1, 10 and 100 pictures a second: [--program FILE]", LatencyBenchmark.RunAsync),
    ["links"] = ("how much of a link of 2 Mbit/s stills use at 50, 200 and 600 ms round trip, beside storescu: [--associations N]", LinksBenchmark.RunAsync),
    ["reading"] = ("photographed codes: rates by symbology and condition beside zbarimg, phantoms and cost in pictures without a code, codes that the screen passes over: [--photos FOLDER] [--seed N] [--count N] [--phantoms N] [--megapixels X] [--screened N] [--only rates|phantoms|screen] [--symbology NAME]", ReadingBenchmark.RunAsync),
    ["rescan"] = ("a look at 200,000 known files: [FOLDER on the disk to measure]", RescanBenchmark.RunAsync),
    ["scenes"] = ($"photographed codes as files with their truth: --write FOLDER {ScenesWriter.Usage}", ScenesWriter.RunAsync),
    ["sending"] = ("ready-made objects to storescp, against storescu: [--count N]", Sending.RunAsync),
    ["stow"] = ("ready-made objects by STOW-RS to a server that only reads and to Orthanc, against curl: [--count N]", StowBenchmark.RunAsync),
    ["luminance"] = ("decoding for the look at a picture, against the library that the program brings and djpeg: [FOLDER of photographs]", LuminanceBenchmark.RunAsync),
    ["transforms"] = ("lossless rotation and progressive conversion of photographs, against jpegtran: [FOLDER of photographs]", TransformsBenchmark.RunAsync),
    ["validate"] = ("1,000 objects of 100 KB through the check of files, against dciodvfy on as many processors: [--count N]", ValidateBenchmark.RunAsync),
    ["workers"] = ("one worker against two on PostgreSQL: [--program FILE]", WorkersBenchmark.RunAsync),
    ["wrapping"] = ("2,000 stills from camera file to Part 10 file, against copying them: [FOLDER on the disk to measure]", WrappingBenchmark.RunAsync),
};

if (args.Length > 0 && verbs.TryGetValue(args[0], out (string What, Func<string[], Task<int>> RunAsync) verb))
{
    return await verb.RunAsync(args[1..]);
}

Console.Error.WriteLine("Usage: CameraBridge.Benchmarks VERB [options]");
foreach ((string name, (string what, _)) in verbs)
{
    Console.Error.WriteLine($"  {name,-12}{what}");
}

return 2;
