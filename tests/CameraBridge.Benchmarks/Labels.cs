using System.Diagnostics;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Tests.Pipeline.Sittings.Cues;
using Microsoft.Extensions.Logging.Abstractions;
using SkiaSharp;
using ZXing;

namespace CameraBridge.Benchmarks;

/// <summary>
/// What the look at a picture costs, and how many labels it reads: drawn label shots and clinical scenes, and any folder of photographs. Compared,
/// in the same run, with reading the whole picture at three sizes and six angles, which is what a look without a screen costs.
/// </summary>
internal static class Labels
{
    public static Task<int> RunAsync(string[] arguments)
    {
        Console.WriteLine($"{"pictures",-34}{"found",9}{"median",9}{"worst",9} ms   whole picture:{"found",7}{"median",9}{"worst",9} ms");
        foreach ((int width, int height) in new[] { (640, 480), (1920, 1080), (4000, 3000) })
        {
            int seeds = width > 2000 ? 4 : 10;
            foreach (BarcodeFormat format in new[] { BarcodeFormat.QR_CODE, BarcodeFormat.CODE_128, BarcodeFormat.DATA_MATRIX })
            {
                foreach (Difficulty difficulty in Enum.GetValues<Difficulty>())
                {
                    Measure($"{width} {format} {difficulty}", Enumerable.Range(0, seeds).Select(seed =>
                        (LabelScenes.Label(seed, format, $"P{100000000 + (seed * 7919)}", difficulty, width, height), (string?)$"P{100000000 + (seed * 7919)}")));
                }
            }

            string[] kinds = ["skin", "hair", "ruler", "teeth", "cloth", "printed page"];
            for (int kind = 0; kind < kinds.Length; kind++)
            {
                int drawn = kind;
                Measure($"{width} without a code, {kinds[kind]}", Enumerable.Range(0, 4).Select(seed => (LabelScenes.WithoutCode(seed, drawn, width, height), (string?)null)));
            }
        }

        if (arguments.Length > 0)
        {
            Measure("photographs", Directory.EnumerateFiles(arguments[0], "*.jp*g", SearchOption.AllDirectories).Order().Select(path => (File.ReadAllBytes(path), (string?)null)));
        }

        MeasureTimeOnly();
        return Task.FromResult(0);
    }

    private static void Measure(string name, IEnumerable<(byte[] File, string? Text)> pictures)
    {
        var own = new List<double>();
        var whole = new List<double>();
        int found = 0;
        int foundWhole = 0;
        var reader = new LabelReader();
        foreach ((byte[] file, string? text) in pictures)
        {
            MeasureOne(reader, file, text, own, whole, ref found, ref foundWhole);
        }

        own.Sort();
        whole.Sort();
        Console.WriteLine(string.Create(
            CultureInfo.InvariantCulture,
            $"{name,-34}{found,4}/{own.Count,-4}{own[own.Count / 2],9:F1}{own[^1],9:F1}                  {foundWhole,4}/{whole.Count,-4}{whole[whole.Count / 2],7:F1}{whole[^1],9:F1}"));
    }

    private static void MeasureOne(LabelReader reader, byte[] file, string? text, List<double> own, List<double> whole, ref int found, ref int foundWhole)
    {
        using SKData data = SKData.CreateCopy(file);
        own.Add(Time(() => reader.Read(data).Texts, text, ref found));
        whole.Add(Time(() => WholeSearch.Read(data) is { } whole ? [whole] : [], text, ref foundWhole));
    }

    /// <summary>Milliseconds; counts a picture whose text was read, or one without a text in which nothing was.</summary>
    private static double Time(Func<IReadOnlyCollection<string>> read, string? text, ref int found)
    {
        long start = Stopwatch.GetTimestamp();
        IReadOnlyCollection<string> texts = read();
        double milliseconds = Stopwatch.GetElapsedTime(start).TotalMilliseconds;
        found += text is null ? (texts.Count == 0 ? 1 : 0) : texts.Count == 1 && texts.First() == text ? 1 : 0;
        return milliseconds;
    }

    /// <summary>With label reading switched off, only the time is read from each spool file.</summary>
    private static void MeasureTimeOnly()
    {
        const int Files = 2000;
        string spool = Directory.CreateTempSubdirectory("camerabridge-labels-").FullName;
        try
        {
            byte[] file = LabelScenes.WithoutCode(1, 0, 1280, 960);
            for (int i = 0; i < Files; i++)
            {
                File.WriteAllBytes(Path.Combine(spool, i.ToString(CultureInfo.InvariantCulture)), file);
            }

            var site = new SiteConfiguration { SpoolFolder = spool, StateFile = "", Labels = new LabelConfiguration { Read = false } };
            var stage = new CuesStage(site, null!, NullLogger<CuesStage>.Instance);
            var reader = new LabelReader();
            long start = Stopwatch.GetTimestamp();
            for (int i = 0; i < Files; i++)
            {
                string name = i.ToString(CultureInfo.InvariantCulture);
                stage.Read(
                    new Work(i, Stage.Cues, i, "", 0, default),
                    new Capture { Id = i, Source = "van", Place = "0001/IMG.JPG", Folder = "0001", Sha256 = "", SpoolName = name, Size = file.Length },
                    reader);
            }

            Console.WriteLine(string.Create(
                CultureInfo.InvariantCulture, $"label reading switched off: {Stopwatch.GetElapsedTime(start).TotalMilliseconds / Files:F3} ms a picture"));
        }
        finally
        {
            Directory.Delete(spool, recursive: true);
        }
    }
}
