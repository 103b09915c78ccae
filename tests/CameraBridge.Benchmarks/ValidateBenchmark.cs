using System.Diagnostics;
using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Dicom.Part10;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Dicom.Iods;

namespace CameraBridge.Benchmarks;

/// <summary>
/// The check of files: 1,000 objects of about 100 KB, bit stream and all, on all processors as <c>validate</c> does it; against dciodvfy, one process
/// for each file on as many processors, in the same run. dciodvfy does not look into the bit stream.
/// </summary>
internal static class ValidateBenchmark
{
    private const int DefaultCount = 1000;
    private const int Rounds = 3;

    /// <summary>Runs it.</summary>
    public static async Task<int> RunAsync(string[] args)
    {
        int count = args is ["--count", var text] ? int.Parse(text, CultureInfo.InvariantCulture) : DefaultCount;
        string folder = Directory.CreateTempSubdirectory("camerabridge-validate-").FullName;
        try
        {
            string[] files = Make(folder, count);
            DataSet dataSet = Part10File.Open(files[0]).DataSet;
            double ours = double.MaxValue;
            double theirs = double.MaxValue;
            for (int round = 0; round < Rounds; round++)
            {
                ours = Math.Min(ours, Time(() => Parallel.ForEach(files, file => Require(FileCheck.Check(file)))));
                theirs = Math.Min(theirs, await TimeTheirsAsync(files));
            }

            const int checks = 2000;
            double attributes = Time(() =>
            {
                for (int i = 0; i < checks; i++)
                {
                    IodCheck.Check(dataSet, TransferSyntax.JpegBaseline);
                }
            }) / checks;
            Console.WriteLine(string.Create(
                CultureInfo.InvariantCulture, $"{count} files of {files.Average(file => new FileInfo(file).Length) / 1000:0} KB on {Environment.ProcessorCount} processors, best of {Rounds}"));
            Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"ours, with the bit stream     {ours:0.00} s  {count / ours:0} files/s"));
            Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"dciodvfy, without             {theirs:0.00} s  {count / theirs:0} files/s  {theirs / ours:0.0} times ours"));
            Console.WriteLine(string.Create(CultureInfo.InvariantCulture, $"attributes alone, as the flow checks each object: {attributes * 1e6:0} microseconds"));
            return 0;
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private static double Time(Action work)
    {
        long start = Stopwatch.GetTimestamp();
        work();
        return Stopwatch.GetElapsedTime(start).TotalSeconds;
    }

    private static async Task<double> TimeTheirsAsync(string[] files)
    {
        long start = Stopwatch.GetTimestamp();
        await Parallel.ForEachAsync(files, new ParallelOptions { MaxDegreeOfParallelism = Environment.ProcessorCount }, async (file, cancellation) =>
        {
            using var process = Process.Start(new ProcessStartInfo("dciodvfy", ["-new", file]) { RedirectStandardError = true, RedirectStandardOutput = true })!;
            await process.StandardError.ReadToEndAsync(cancellation);
            await process.WaitForExitAsync(cancellation);
        });
        return Stopwatch.GetElapsedTime(start).TotalSeconds;
    }

    private static void Require(FileReport report)
    {
        if (!report.Conforms)
        {
            throw new InvalidOperationException($"The measured objects have to be right: {string.Join("; ", report.Findings)}");
        }
    }

    private static string[] Make(string folder, int count)
    {
        // A few pictures, each in many objects: drawing takes longer than checking.
        byte[][] pictures = [.. Enumerable.Range(0, 10).Select(seed => DrawnPicture.Draw(Motif.Eardrum, seed))];
        var files = new string[count];
        for (int i = 0; i < count; i++)
        {
            byte[] picture = pictures[i % pictures.Length];
            DataSet dataSet = TestObject.Endoscopic();
            dataSet.Set(Tags.SOPInstanceUID, Uids.NewFromUuid());
            dataSet.SetInt(Tags.Rows, DrawnPicture.Height);
            dataSet.SetInt(Tags.Columns, DrawnPicture.Width);
            dataSet.SetDouble(Tags.LossyImageCompressionRatio, Math.Round(DrawnPicture.Width * DrawnPicture.Height * 3 / (double)picture.Length, 2));
            dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromBytes(picture)])));
            files[i] = Path.Combine(folder, string.Create(CultureInfo.InvariantCulture, $"{i:0000}.dcm"));
            var meta = new FileMeta(SopClasses.VLEndoscopicImageStorage, dataSet.GetString(Tags.SOPInstanceUID)!, TransferSyntaxes.JPEGBaseline8Bit);
            using Stream source = Part10File.Encode(meta, ElementWriter.Encode(dataSet, TransferSyntax.JpegBaseline)).OpenRead();
            using FileStream target = File.Create(files[i]);
            source.CopyTo(target);
        }

        return files;
    }
}
