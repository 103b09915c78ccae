using System.Globalization;
using System.Text;
using CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;
using ZXing;

namespace CameraBridge.Benchmarks;

/// <summary>Draws photographed codes from a seed and ranges that are given on the command line, with their truth, so that any reader can be judged by them.</summary>
internal static class ScenesWriter
{
    public const string Usage =
        "[--seed N] [--count N] [--symbology qr|code128|datamatrix|pdf417|aztec] [--size WxH] [--fill A..B | --narrow A..B] [--tilt A..B] [--roll A..B] [--blur A..B] "
        + "[--noise A..B] [--glare A..B] [--vignette A..B] [--quality A..B] [--photos FOLDER]";

    public static Task<int> RunAsync(string[] arguments)
    {
        if (OnceProgram.Option(arguments, "--write") is not { } folder)
        {
            Console.Error.WriteLine("scenes: name the folder to write to: --write FOLDER");
            return Task.FromResult(2);
        }

        Directory.CreateDirectory(folder);
        SceneRecipe recipe = Recipe(arguments);
        int seed = Number(arguments, "--seed", 1);
        int count = Number(arguments, "--count", 100);
        string[] lines = new string[count];
        Parallel.For(0, count, number =>
        {
            CodeScene scene = CodeScene.Draw(recipe.Draw(seed, number));
            string name = string.Create(CultureInfo.InvariantCulture, $"{number:00000}.jpg");
            File.WriteAllBytes(Path.Combine(folder, name), scene.File);
            lines[number] = Truth(name, scene);
        });
        File.WriteAllText(
            Path.Combine(folder, "truth.tsv"),
            "file\tsymbology\ttext\tcorners\tmm_per_pixel\tleast_module\tfill\ttilt\troll\tblur\tnoise\tglare\tvignette\tquality\n" + string.Join('\n', lines) + "\n",
            new UTF8Encoding(encoderShouldEmitUTF8Identifier: false));
        Console.WriteLine($"{count} scenes and truth.tsv in {folder}");
        return Task.FromResult(0);
    }

    /// <summary>The recipe that the options describe.</summary>
    /// <exception cref="ArgumentException">An option's value cannot be read.</exception>
    public static SceneRecipe Recipe(string[] arguments)
    {
        var usual = new SceneRecipe { Symbology = Symbology(OnceProgram.Option(arguments, "--symbology") ?? "qr") };
        string[] size = (OnceProgram.Option(arguments, "--size") ?? "1920x1080").Split('x');
        bool byNarrow = OnceProgram.Option(arguments, "--narrow") is not null
            || (usual.Symbology == BarcodeFormat.CODE_128 && OnceProgram.Option(arguments, "--fill") is null);
        return usual with
        {
            Width = int.Parse(size[0], CultureInfo.InvariantCulture),
            Height = int.Parse(size[1], CultureInfo.InvariantCulture),
            Fill = byNarrow ? default : Range(arguments, "--fill", usual.Fill),
            Narrow = Range(arguments, "--narrow", usual.Narrow),
            Tilt = Range(arguments, "--tilt", usual.Tilt),
            Roll = Range(arguments, "--roll", usual.Roll),
            Blur = Range(arguments, "--blur", usual.Blur),
            Noise = Range(arguments, "--noise", usual.Noise),
            Glare = Range(arguments, "--glare", usual.Glare),
            Vignette = Range(arguments, "--vignette", usual.Vignette),
            Quality = Range(arguments, "--quality", usual.Quality),
            Backgrounds = OnceProgram.Option(arguments, "--photos") is { } photos ? [.. PhotoVariants.Originals(photos)] : [],
        };
    }

    public static int Number(string[] arguments, string name, int usual) =>
        OnceProgram.Option(arguments, name) is { } text ? int.Parse(text, CultureInfo.InvariantCulture) : usual;

    private static Extent Range(string[] arguments, string name, Extent usual) =>
        OnceProgram.Option(arguments, name) is { } text ? Extent.Parse(text) : usual;

    private static BarcodeFormat Symbology(string name) => name switch
    {
        "qr" => BarcodeFormat.QR_CODE,
        "code128" => BarcodeFormat.CODE_128,
        "datamatrix" => BarcodeFormat.DATA_MATRIX,
        "pdf417" => BarcodeFormat.PDF_417,
        "aztec" => BarcodeFormat.AZTEC,
        _ => throw new ArgumentException($"The symbology '{name}' is not drawn here: {Usage}", nameof(name)),
    };

    private static string Truth(string name, CodeScene scene)
    {
        SceneSettings of = scene.Settings;
        string corners = string.Join(' ', scene.Corners.Select(corner => string.Create(CultureInfo.InvariantCulture, $"{corner.X:F2},{corner.Y:F2}")));
        return string.Create(
            CultureInfo.InvariantCulture,
            $"{name}\t{of.Symbology}\t{of.Text}\t{corners}\t{scene.Spacing:F6}\t{scene.LeastModule:F2}\t{of.Fill:F3}\t{of.Tilt:F1}\t{of.Roll:F1}\t{of.Blur:F2}\t{of.Noise:F1}\t{of.Glare:F2}\t{of.Vignette:F2}\t{of.Quality}");
    }
}
