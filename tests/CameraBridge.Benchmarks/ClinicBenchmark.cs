using System.Diagnostics;
using System.Globalization;
using System.Reflection;
using CameraBridge.Pipeline.Matches.Joint;
using CameraBridge.Tests.Pipeline.Matches.Joint.Clinic;

namespace CameraBridge.Benchmarks;

/// <summary>
/// A simulated clinic with truth: how true the probabilities of joint matching are, and what filing at a threshold would come to. Every habit of the clinic is an
/// option, in kebab case: <c>--no-show 0.2 --swaps 0.05</c>; each "2.5" or "3". With <c>--write DIR</c> one day is written as sticks and orders instead.
/// </summary>
internal static class ClinicBenchmark
{
    private static readonly PropertyInfo[] Habits = [.. typeof(ClinicHabits).GetProperties(BindingFlags.Public | BindingFlags.Instance).Where(property => property.CanWrite)];

    public static Task<int> RunAsync(string[] args)
    {
        ClinicHabits habits = new();
        Dictionary<string, string> options = new(StringComparer.Ordinal) { ["--seed"] = "1", ["--days"] = "200", ["--history"] = "60", ["--day"] = "2026-03-02", ["--write"] = "" };
        for (int i = 0; i < args.Length; i += 2)
        {
            PropertyInfo? habit = Array.Find(Habits, property => args[i] == OptionOf(property));
            if (i + 1 == args.Length || (habit is null && !options.ContainsKey(args[i])))
            {
                Console.Error.WriteLine($"clinic: {args[i]} is no option with a value. There are: {string.Join(" ", options.Keys.Concat(Habits.Select(OptionOf)))}");
                return Task.FromResult(2);
            }

            habit?.SetValue(habits, Convert.ChangeType(args[i + 1], habit.PropertyType, CultureInfo.InvariantCulture));
            options[args[i]] = args[i + 1];
        }

        int Number(string option) => int.Parse(options[option], CultureInfo.InvariantCulture);
        DateOnly first = DateOnly.ParseExact(options["--day"], "yyyy-MM-dd", CultureInfo.InvariantCulture);
        ClinicSimulator simulator = new(habits, Number("--seed"));
        Console.WriteLine(habits);
        if (options["--write"].Length > 0)
        {
            ClinicSticks.Write(simulator.Draw(first, 1)[0], options["--write"], Number("--seed"));
            return Task.FromResult(0);
        }

        Measure(simulator.Draw(first, Number("--history") + Number("--days")), Number("--history"));
        return Task.FromResult(0);
    }

    private static void Measure(IReadOnlyList<ClinicDay> days, int history)
    {
        JointParameters parameters = JointParameters.Learn(ClinicDay.HistoryOf([.. days.Take(history)]));
        Console.WriteLine($"learned of {history} days: {parameters}");
        Calibration calibration = new();
        int solved = 0;
        double exact = 0;
        TimeSpan processor = Process.GetCurrentProcess().TotalProcessorTime;
        foreach (ClinicDay day in days.Skip(history))
        {
            for (int room = 0; room < day.ClockOffsets.Count; room++)
            {
                JointResult result = JointMatching.Solve(day.ProblemOf(room, parameters));
                calibration.Add(day, room, result);
                exact += result.ExactShare;
                solved++;
            }
        }

        processor = Process.GetCurrentProcess().TotalProcessorTime - processor;
        Print($"{solved} days of a camera, {calibration.Best.Count} sittings without label; {processor.TotalMilliseconds / solved:0} ms of processor each; exact {exact / solved:0 %}");
        Print($"expected calibration error: {Calibration.Error(calibration.Pairs):0.00 %} of pairings, {Calibration.Error(calibration.Best):0.00 %} of best steps");
        Console.WriteLine("pairings given     number   right");
        foreach ((double from, double to) in ((double, double)[])[(0.001, 0.05), (0.05, 0.2), (0.2, 0.5), (0.5, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.99), (0.99, 1.01)])
        {
            (int count, double right) = Calibration.Between(calibration.Pairs, from, to);
            Print($"{from,6:0.0 %} to {Math.Min(1, to),6:0.0 %}{count,9}{right,9:0.0 %}");
        }

        Console.WriteLine("filed at   share filed   wrong   allowed");
        foreach (double threshold in (double[])[0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99])
        {
            ThresholdPoint point = calibration.At(threshold);
            Print($"{threshold,8:0.00}{point.FiledShare,14:0.0 %}{point.WrongShare,8:0.00 %}{1 - threshold,10:0.0 %}{(point.WrongShare < 1 - threshold ? "" : "   TOO MANY")}");
        }
    }

    /// <summary>"NoShow" is --no-show.</summary>
    private static string OptionOf(PropertyInfo property) => "--" + System.Text.Json.JsonNamingPolicy.KebabCaseLower.ConvertName(property.Name);

    private static void Print(FormattableString line) => Console.WriteLine(FormattableString.Invariant(line));
}
