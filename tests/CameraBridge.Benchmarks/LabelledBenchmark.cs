using System.Globalization;
using CameraBridge.Tests.Pipeline.Matches.Labelled;

namespace CameraBridge.Benchmarks;

/// <summary>Sittings with a label on each, and all that goes wrong with labels, through the program's own rules: how many are filed, and how many wrongly.</summary>
internal static class LabelledBenchmark
{
    public static Task<int> RunAsync(string[] args)
    {
        int count = int.Parse(OnceProgram.Option(args, "--sittings") ?? "100000", CultureInfo.InvariantCulture);
        int seed = int.Parse(OnceProgram.Option(args, "--seed") ?? "1", CultureInfo.InvariantCulture);
        double alone = double.Parse(OnceProgram.Option(args, "--lone-wrong-sheets") ?? "0", CultureInfo.InvariantCulture);
        IReadOnlyDictionary<Mishap, Outcome> outcomes = new LabelledClinic(seed, alone).Run(count);
        Console.WriteLine("what happened          sittings    filed    wrong");
        foreach ((Mishap mishap, Outcome outcome) in outcomes)
        {
            Print(mishap.ToString(), outcome.Sittings, outcome.Filed, outcome.Wrong);
        }

        int wrong = outcomes.Values.Sum(outcome => outcome.Wrong);
        Print("all", outcomes.Values.Sum(outcome => outcome.Sittings), outcomes.Values.Sum(outcome => outcome.Filed), wrong);
        return Task.FromResult(wrong == 0 ? 0 : 1);
    }

    private static void Print(string what, int sittings, int filed, int wrong) =>
        Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"{what,-20}{sittings,11}{filed,9}{wrong,9}"));
}
