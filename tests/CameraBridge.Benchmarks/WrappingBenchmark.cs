using System.Diagnostics;
using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Practice.Sticks;

namespace CameraBridge.Benchmarks;

/// <summary>
/// Stills of about 100 KB from camera file to Part 10 file: every block stepped over, the attributes mapped, the object checked, the pixels streamed
/// bit for bit; against copying the same files. In turns in one thread, from a warm page cache, nothing synced.
/// </summary>
internal static class WrappingBenchmark
{
    private const int Folders = 20;
    private const int PicturesInFolder = 99;
    private const int Rounds = 3;

    public static async Task<int> RunAsync(string[] args)
    {
        string home = Directory.CreateDirectory(Path.Combine(args.Length > 0 ? args[0] : Path.GetTempPath(), $"wrapping-{Guid.NewGuid():N}")).FullName;
        try
        {
            string stick = Path.Combine(home, "stick");
            DateOnly day = DateOnly.FromDateTime(TimeProvider.System.GetLocalNow().DateTime);
            StickDrawer.Draw(StickPlan.Many(day, Folders, PicturesInFolder), stick, seed: 5, day, TimeZoneInfo.Utc);
            string[] pictures = [.. Directory.GetFiles(stick, "*.JPG", SearchOption.AllDirectories).Order(StringComparer.Ordinal)];
            Console.WriteLine(string.Create(
                CultureInfo.InvariantCulture, $"{pictures.Length} pictures of {pictures.Average(path => new FileInfo(path).Length) / 1000:0} KB, {Rounds} rounds"));
            for (int round = 1; round <= Rounds; round++)
            {
                double copying = await CopyAsync(pictures, Directory.CreateDirectory(Path.Combine(home, $"copied-{round}")).FullName);
                double wrapping = await WrapAsync(pictures, Directory.CreateDirectory(Path.Combine(home, $"wrapped-{round}")).FullName);
                Console.WriteLine(string.Create(
                    CultureInfo.InvariantCulture,
                    $"round {round}: copying {1000 * copying / pictures.Length:0.00} ms a picture, wrapping {1000 * wrapping / pictures.Length:0.00} ms, ratio {wrapping / copying:0.0}"));
            }

            Console.WriteLine($"peak memory {Process.GetCurrentProcess().PeakWorkingSet64 >> 20} MiB, the drawing of the pictures included");
            return 0;
        }
        finally
        {
            Directory.Delete(home, recursive: true);
        }
    }

    private static async Task<double> CopyAsync(string[] pictures, string target)
    {
        Stopwatch watch = Stopwatch.StartNew();
        for (int i = 0; i < pictures.Length; i++)
        {
            await using FileStream source = File.OpenRead(pictures[i]);
            await using FileStream copy = File.Create(Path.Combine(target, string.Create(CultureInfo.InvariantCulture, $"{i:00000}.jpg")));
            await source.CopyToAsync(copy);
        }

        return watch.Elapsed.TotalSeconds;
    }

    private static async Task<double> WrapAsync(string[] pictures, string target)
    {
        using CaptureContents contents = new(new SiteConfiguration { SpoolFolder = target, StateFile = "" }, TimeProvider.System);
        SeriesTemplate template = new(Series());
        Stopwatch watch = Stopwatch.StartNew();
        for (int i = 0; i < pictures.Length; i++)
        {
            if (contents.Read(CaptureKind.Still, pictures[i], CancellationToken.None) is not ContentOutcome.Made { Content: { } content })
            {
                throw new InvalidOperationException($"{pictures[i]} has no content.");
            }

            PictureFacts picture = new() { SOPInstanceUID = Uids.NewFromUuid(), InstanceNumber = i + 1, Content = content, TakenAt = TimeProvider.System.GetUtcNow() };
            if (ObjectComposition.Compose(template, picture) is not ObjectOutcome.Made made)
            {
                throw new InvalidOperationException($"{pictures[i]} became no object.");
            }

            FileMeta meta = new(template.Facts.SOPClassUID, picture.SOPInstanceUID, made.TransferSyntaxUID);
            await using Stream source = Part10File.Encode(meta, made.Encoded).OpenRead();
            await using FileStream file = File.Create(Path.Combine(target, string.Create(CultureInfo.InvariantCulture, $"{i:00000}.dcm")));
            await source.CopyToAsync(file);
        }

        return watch.Elapsed.TotalSeconds;
    }

    private static SeriesFacts Series()
    {
        DataSet order = new();
        order.Set(Tags.PatientName, "Example^Order");
        order.Set(Tags.PatientID, "E0001");
        order.Set(Tags.StudyInstanceUID, Uids.NewFromUuid());
        order.Set(Tags.AccessionNumber, "EX0001");
        DataSet step = new();
        step.Set(Tags.ScheduledProcedureStepID, "1");
        order.SetItems(Tags.ScheduledProcedureStepSequence, step);
        DateTimeOffset now = TimeProvider.System.GetUtcNow();
        return new SeriesFacts
        {
            Step = order,
            Institution = new InstitutionConfiguration { Name = "Example Clinic" },
            Source = new SourceConfiguration { Name = "stick", Folder = "/nowhere", Optic = "general" },
            Optic = OpticsTable.Own.TryFind("general", out Optic? optic) ? optic : throw new InvalidOperationException("The optics table has no general optic."),
            Kind = CaptureKind.Still,
            SeriesInstanceUID = Uids.NewFromUuid(),
            SeriesNumber = 1,
            StartedAt = now,
            StudyStartedAt = now,
            PerformedProcedureStepID = "1",
        };
    }
}
