using System.Globalization;
using System.Text.Json;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Tests.Dicom.Iods.Agreement;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Part10;

/// <summary>A file-set of all classes, stills and clips, judged by programs that nobody here wrote: pydicom's FileSet, dcmtk's dcmmkdir, dicom3tools.</summary>
public sealed class MediaPeersTests : IDisposable
{
    private readonly string folder = Directory.CreateTempSubdirectory("camerabridge-media-").FullName;

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Fact]
    public async Task Pydicom_finds_every_instance_by_the_directory_and_nothing_wrong()
    {
        MediaDirectory directory = Write(SoundObjects.All);

        MediaJudged judged = await MediaJudged.ReadAsync(folder);

        Assert.Empty(judged.Wrong);
        Assert.Equal(("TEST_SET", directory.FileSetUID), (judged.FileSetID, judged.FileSetUID));
        Assert.Equal(directory.Files.Select(file => file.SOPInstanceUID).Order(), judged.Files.Select(file => file.UID).Order());
        Assert.Equal(3 * SoundObjects.All.Count, judged.Files.Count);
        Assert.Contains(judged.Files, file => file.Patient == "Öländer^Märta");
    }

    [Fact]
    public async Task Dcmmkdir_makes_the_same_records_of_the_same_stills_under_the_profile()
    {
        // dcmtk 3.6.7 under -Pfl refuses what STD-GEN-USB-JPEG does not take and what lacks a key of type 1 (--strict).
        Write(SoundObjects.All.Where(sound => MediaProfile.Takes(sound.Syntax.Uid)));
        string theirs = Path.Combine(folder, "theirs");
        await OutsideProgram.RunAsync("dcmmkdir", "-Pfl", "--strict", "-a", "+r", "+id", folder, "+p", "IM*", "+D", theirs, "+F", "THEIRS");

        Dictionary<string, Dictionary<string, string>> expected = await MediaJudged.RecordsAsync(theirs);
        Dictionary<string, Dictionary<string, string>> found = await MediaJudged.RecordsAsync(Path.Combine(folder, "DICOMDIR"));

        Assert.Equal(expected.Keys.Order(), found.Keys.Order());
        foreach ((string record, Dictionary<string, string> elements) in expected)
        {
            // dcmtk declares the image's character set in every record; it is required only where a key needs it.
            elements.Remove("(0008, 0005)");
            Assert.All(elements, element => Assert.Equal((record, element.Value), (record, found[record].GetValueOrDefault(element.Key))));
        }
    }

    [Fact]
    public async Task Dcmmkdir_follows_our_offsets_and_adds_to_our_directory_which_we_then_leave_alone()
    {
        SoundObject[] stills = [.. SoundObjects.All.Where(sound => MediaProfile.Takes(sound.Syntax.Uid))];
        Write(stills);
        string path = Path.Combine(folder, "DICOMDIR");
        DataSet more = MediaDirectoryTests.Image("P9", 90, 91, 92);
        await WriteFileAsync(Path.Combine(folder, "MORE"), more, TransferSyntax.JpegBaseline);

        await OutsideProgram.RunAsync("dcmmkdir", "-Pfl", "+A", "+D", path, "+id", folder, "MORE");

        Assert.Equal((3 * stills.Length) + 1, (await MediaJudged.RecordsAsync(path)).Keys.Count(key => key.StartsWith("IMAGE", StringComparison.Ordinal)));
        Assert.Empty((await MediaJudged.ReadAsync(folder)).Wrong);
        await Assert.ThrowsAsync<MediaDirectoryException>(() => MediaDirectory.ReadAsync(path, TestContext.Current.CancellationToken));
    }

    [Fact]
    public async Task Dicom3tools_find_no_error_in_the_directory()
    {
        Write(SoundObjects.All);
        string path = Path.Combine(folder, "DICOMDIR");

        string said = await OutsideProgram.RunAsync("sh", "-c", $"dciodvfy -new {path} 2>&1; dcdirdmp -v {path} 2>&1");

        Assert.Contains("BasicDirectory", said, StringComparison.Ordinal);
        Assert.DoesNotContain("Error", said, StringComparison.Ordinal);
        Assert.Equal(3 * SoundObjects.All.Count, said.Split("-> PA").Length - 1);
    }

    /// <summary>Three patients, one of them with a name beyond ASCII, each with an object of every kind in a series of its own.</summary>
    private MediaDirectory Write(IEnumerable<SoundObject> objects)
    {
        var directory = new MediaDirectory(Uids.NewFromUuid(), "TEST_SET");
        foreach ((string id, string name) in ((string, string)[])[("P1", "Doe^Adam"), ("P2", "Öländer^Märta"), ("P3", "Roe^Rita")])
        {
            foreach ((int at, SoundObject sound) in objects.Index())
            {
                DataSet made = sound.Make();
                made.Set(Tags.PatientID, id);
                made.Set(Tags.PatientName, name);
                made.Set(Tags.StudyInstanceUID, $"2.25.5{id[1..]}");
                made.Set(Tags.SeriesInstanceUID, string.Create(CultureInfo.InvariantCulture, $"2.25.6{id[1..]}{at}"));
                made.Set(Tags.SOPInstanceUID, string.Create(CultureInfo.InvariantCulture, $"2.25.7{id[1..]}{at}"));
                MediaFile file = directory.Add(made, sound.Syntax.Uid);
                string path = MediaFileID.ToPath(folder, file.ReferencedFileID);
                Directory.CreateDirectory(Path.GetDirectoryName(path)!);
                File.WriteAllBytes(path, Bytes(made, sound.Syntax));
            }
        }

        using Stream encoded = directory.Encode().OpenRead();
        using FileStream written = File.Create(Path.Combine(folder, "DICOMDIR"));
        encoded.CopyTo(written);
        return directory;
    }

    private static Task WriteFileAsync(string path, DataSet made, TransferSyntax syntax) =>
        File.WriteAllBytesAsync(path, Bytes(made, syntax), TestContext.Current.CancellationToken);

    private static byte[] Bytes(DataSet made, TransferSyntax syntax)
    {
        using Stream encoded = Part10File.Encode(
            new FileMeta(made.GetString(Tags.SOPClassUID)!, made.GetString(Tags.SOPInstanceUID)!, syntax.Uid), ElementWriter.Encode(made, syntax)).OpenRead();
        using MemoryStream bytes = new();
        encoded.CopyTo(bytes);
        return bytes.ToArray();
    }
}

/// <summary>What pydicom says of a media folder (tests/peers/fileset.py).</summary>
internal sealed record MediaJudged(string FileSetID, string FileSetUID, IReadOnlyList<(string Path, string UID, string Patient)> Files, IReadOnlyList<string> Wrong)
{
    private static readonly string Script = Path.Combine(Meta.Repository.Root, "tests", "peers", "fileset.py");

    public static async Task<MediaJudged> ReadAsync(string folder)
    {
        using JsonDocument said = JsonDocument.Parse(await OutsideProgram.RunAsync(OutsideProgram.Python, Script, "read", folder));
        JsonElement root = said.RootElement;
        return new MediaJudged(
            root.GetProperty("id").GetString()!,
            root.GetProperty("uid").GetString()!,
            [.. root.GetProperty("files").EnumerateArray().Select(file => (file.GetProperty("path").GetString()!, file.GetProperty("uid").GetString()!, file.GetProperty("patient").GetString()!))],
            [.. root.GetProperty("wrong").EnumerateArray().Select(line => line.GetString()!)]);
    }

    public static async Task<Dictionary<string, Dictionary<string, string>>> RecordsAsync(string directory) =>
        JsonSerializer.Deserialize<Dictionary<string, Dictionary<string, string>>>(await OutsideProgram.RunAsync(OutsideProgram.Python, Script, "records", directory))!;
}
