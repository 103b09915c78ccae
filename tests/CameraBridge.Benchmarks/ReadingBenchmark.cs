using System.Collections.Concurrent;
using System.Globalization;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;
using SkiaSharp;
using ZXing;

namespace CameraBridge.Benchmarks;

/// <summary>
/// How many codes are read in drawn and photographed scenes, by symbology and condition, beside zbarimg on the same files; what pictures without a
/// code cost; whether anything is read in them; and whether the screen passes over a code that a search of the whole picture finds. Times are of
/// the thread's processor, so that others on the machine do not count.
/// </summary>
internal static class ReadingBenchmark
{
    /// <summary>More would only wait for each other, and hold a picture each meanwhile.</summary>
    private static readonly ParallelOptions OneACore = new() { MaxDegreeOfParallelism = Environment.ProcessorCount };

    private static readonly (string Name, SceneRecipe Recipe)[] Conditions =
    [
        ("plain", new()),
        ("tilted 20 to 40 degrees", new() { Tilt = new(20, 40) }),
        ("blurred 1.5 to 2.5 px", new() { Blur = new(1.5, 2.5) }),
        ("noisy 10 to 20", new() { Noise = new(10, 20) }),
        ("glare", new() { Glare = new(0.3, 0.9) }),
        ("round optic", new() { Vignette = new(0.85, 1), Blur = new(0.5, 1.5) }),
        ("quality 60", new() { Quality = new(60, 60) }),
        ("all together", new() { Tilt = new(0, 35), Blur = new(0.5, 2), Noise = new(2, 12), Glare = new(0, 0.6), Vignette = new(0.85, 1) }),
        ("all, 0.3 megapixels", new() { Width = 640, Height = 480, Tilt = new(0, 30), Blur = new(0.3, 1), Noise = new(2, 12), Glare = new(0, 0.6) }),
    ];

    /// <summary>
    /// Pictures that are read before the first is measured: the runtime compiles what it runs often, and again what it runs very often, so that the first
    /// pictures after a start cost more than a service's do.
    /// </summary>
    private const int WarmingUp = 100;

    /// <summary>Pictures that cost most, and are named.</summary>
    private const int NamedSlowest = 5;

    /// <summary>What a scene that was not read is searched by: the full search that the screen saves ...</summary>
    private const string OwnLooks = "the program's own looks";

    /// <summary>... what the program does nowhere ...</summary>
    private const string MoreLooks = "looks that it does not have";

    /// <summary>... and another's reader.</summary>
    private const string Library = "the library's reader";

    public static Task<int> RunAsync(string[] arguments)
    {
        int seed = ScenesWriter.Number(arguments, "--seed", 1);
        int count = ScenesWriter.Number(arguments, "--count", 100);
        string? photos = OnceProgram.Option(arguments, "--photos");
        IReadOnlyList<string> originals = photos is null ? [] : [.. PhotoVariants.Originals(photos)];
        string? only = OnceProgram.Option(arguments, "--only");
        int wrong = 0;
        if (only is null or "rates")
        {
            wrong += Rates(arguments, seed, count, originals);
        }

        if (originals.Count > 0 && (only is null or "phantoms"))
        {
            wrong += Phantoms(seed, ScenesWriter.Number(arguments, "--phantoms", 2000), OnceProgram.Option(arguments, "--megapixels") is { } size ? double.Parse(size, CultureInfo.InvariantCulture) : 2, originals);
        }

        if (only is null or "screen")
        {
            Screen(seed, ScenesWriter.Number(arguments, "--screened", 1000), originals);
        }

        return Task.FromResult(wrong == 0 ? 0 : 1);
    }

    private static int Rates(string[] arguments, int seed, int count, IReadOnlyList<string> originals)
    {
        int wrong = 0;
        string? symbology = OnceProgram.Option(arguments, "--symbology");
        Console.WriteLine($"{"scenes",-38}{"read",12}{"rate",9}{"wrong",7}{"median",9}{"99 %",8}{"worst",8} ms{"zbarimg",12}{"its time / ours",17}");
        foreach (BarcodeFormat format in new[] { BarcodeFormat.QR_CODE, BarcodeFormat.CODE_128, BarcodeFormat.DATA_MATRIX })
        {
            if (symbology is not null && format != ScenesWriter.Recipe(["--symbology", symbology]).Symbology)
            {
                continue;
            }

            foreach ((string name, SceneRecipe condition) in Conditions)
            {
                SceneRecipe recipe = condition with { Symbology = format, Backgrounds = originals };
                if (format == BarcodeFormat.CODE_128)
                {
                    // Narrow bars of 3 to 5 pixels: what blurs a code of modules of 12 pixels would leave nothing of them.
                    recipe = recipe with { Fill = default, Narrow = new(3, 5), Blur = new(recipe.Blur.From / 2, recipe.Blur.To / 2) };
                }

                wrong += Rate($"{format} {name}", recipe, seed, count);
            }
        }

        return wrong;
    }

    private static int Rate(string name, SceneRecipe recipe, int seed, int count)
    {
        Looked[] looked = Look(count, number => CodeScene.Draw(recipe.Draw(seed, number)), keepsFiles: true);
        int read = looked.Count(one => one.IsRight);
        int wrong = looked.Count(one => one.IsWrong);
        string zbar = "";
        if (ZbarReader.IsThere && recipe.Symbology != BarcodeFormat.DATA_MATRIX)
        {
            (IReadOnlyList<IReadOnlyList<string>> texts, double seconds) = ZbarReader.Read([.. looked.Select(one => one.File)]);
            int peer = texts.Where((found, number) => found.Contains(looked[number].Text)).Count();
            zbar = string.Create(CultureInfo.InvariantCulture, $"{100.0 * peer / count,10:F1} %{seconds * 1000 / looked.Sum(one => one.Milliseconds),15:F2}");
        }

        Console.WriteLine(string.Create(
            CultureInfo.InvariantCulture, $"{name,-38}{read,6}/{count,-5}{100.0 * read / count,7:F1} %{wrong,7}{Times(looked)} ms{zbar}"));
        return wrong;
    }

    private static int Phantoms(int seed, int count, double megapixels, IReadOnlyList<string> originals)
    {
        Console.WriteLine($"{$"photographs without a code, {megapixels} MP",-38}{"phantoms",12}{"mean",9}{"median",9}{"99 %",8}{"worst",8} ms");
        Looked[] looked = Look(count, number => PhotoVariants.Draw(originals, seed, number, megapixels) is { } file ? new CodeScene(new SceneSettings { Text = "" }, file, [], 0, 0) : null);
        int phantoms = looked.Count(one => one.Texts.Count > 0);
        Console.WriteLine(string.Create(
            CultureInfo.InvariantCulture, $"{looked.Length,-38}{phantoms,12}{looked.Average(one => one.Milliseconds),9:F1}{Times(looked)} ms"));
        foreach (Looked one in looked.Where(one => one.Texts.Count > 0).Take(20))
        {
            Console.WriteLine($"  {Path.GetFileName(originals[one.Number % originals.Count])}, number {one.Number}: {string.Join(" | ", one.Texts)}");
        }

        foreach (Looked one in looked.OrderByDescending(one => one.Milliseconds).Take(NamedSlowest))
        {
            Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"  {one.Milliseconds:F0} ms: number {one.Number}, {Path.GetFileName(originals[one.Number % originals.Count])}"));
        }

        return phantoms;
    }

    /// <summary>Hard scenes of every symbology and size; those that were not read are searched whole, by the program's own readers and by the library's.</summary>
    private static void Screen(int seed, int count, IReadOnlyList<string> originals)
    {
        var losses = new ConcurrentBag<string>();
        SceneRecipe Recipe(int number) => SceneRecipe.Hard(number) with { Backgrounds = originals };
        CodeScene Draw(int number) => CodeScene.Draw(Recipe(number).Draw(seed, number));
        Looked[] looked = Look(count, Draw);
        Parallel.ForEach(looked.Where(one => !one.IsRight), OneACore, () => new UnscreenedSearch(), (one, _, unscreened) =>
        {
            byte[] file = Draw(one.Number).File;
            if (unscreened.Finds(file, one.Text) is ({ } look, { } isOurs))
            {
                losses.Add($"{Recipe(one.Number).Symbology} number {one.Number}, by {(isOurs ? OwnLooks : MoreLooks)}: {look}");
            }

            if (WholeSearch.Read(file) == one.Text)
            {
                losses.Add($"{Recipe(one.Number).Symbology} number {one.Number}, by {Library}");
            }

            return unscreened;
        }, _ => { });
        int found = looked.Count(one => one.IsRight);
        int By(string search) => losses.Count(loss => loss.Contains(search, StringComparison.Ordinal));
        Console.WriteLine($"of {count} scenes {found} are read; of the others a search of the whole picture reads {By(OwnLooks)} by {OwnLooks}, {By(MoreLooks)} by {MoreLooks}, {By(Library)} by {Library}");
        foreach (string loss in losses.Order(StringComparer.Ordinal))
        {
            Console.WriteLine($"  {loss}");
        }
    }

    private static Looked[] Look(int count, Func<int, CodeScene?> draw, bool keepsFiles = false)
    {
        Read(Math.Min(count, WarmingUp), draw, keepsFiles: false);
        return Read(count, draw, keepsFiles);
    }

    private static Looked[] Read(int count, Func<int, CodeScene?> draw, bool keepsFiles)
    {
        var looked = new ConcurrentBag<Looked>();
        Parallel.For(
            0,
            count,
            OneACore,
            () => new LabelReader(),
            (number, _, reader) =>
            {
                if (draw(number) is { } scene)
                {
                    using SKData data = SKData.CreateCopy(scene.File);
                    double start = ThreadClock.Milliseconds;
                    IReadOnlyList<string> texts = reader.Read(data).Texts;
                    looked.Add(new Looked(number, scene.Settings.Text, keepsFiles ? scene.File : [], texts, ThreadClock.Milliseconds - start));
                }

                return reader;
            },
            _ => { });
        return [.. looked.OrderBy(one => one.Number)];
    }

    private static string Times(Looked[] looked)
    {
        double[] times = [.. looked.Select(one => one.Milliseconds).Order()];
        return string.Create(CultureInfo.InvariantCulture, $"{times[times.Length / 2],9:F1}{times[times.Length * 99 / 100],8:F1}{times[^1],8:F1}");
    }

    private sealed record Looked(int Number, string Text, byte[] File, IReadOnlyList<string> Texts, double Milliseconds)
    {
        public bool IsRight => Texts.Contains(Text);

        public bool IsWrong => Texts.Any(text => text != Text);
    }
}
