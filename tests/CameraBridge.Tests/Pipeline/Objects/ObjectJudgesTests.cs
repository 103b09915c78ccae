using System.Text.Json;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Tests.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

/// <summary>
/// Objects made of real photographs before independent judges: dciodvfy (dicom3tools) knows the IODs, pydicom and GDCM read them, and the
/// scan inside is compared by hash with the one in the camera's file, unless it had to be rewritten (the tests of Stills show what that does to it).
/// Debian's GDCM predates the dermoscopic class and opens none of its images.
/// </summary>
public sealed class ObjectJudgesTests
{
    [Fact]
    public async Task Every_photograph_becomes_an_object_without_fault_or_is_held()
    {
        IReadOnlyList<string> photographs = Photographs.All();
        string folder = Directory.CreateTempSubdirectory("judged-").FullName;
        string[] optics = [.. OpticsTable.Own.Names];
        string?[] sides = ["R", "L", null];
        var made = new Dictionary<string, string>();
        var rewritten = new HashSet<string>();
        var skin = new HashSet<string>();
        var refused = new List<string>();
        for (int i = 0; i < photographs.Count; i++)
        {
            ObjectFacts facts = TestFacts.Of(photographs[i], optics[i % optics.Length], sides[i % sides.Length]);
            switch (facts.Compose())
            {
                case ObjectOutcome.Made one:
                    string path = Path.Combine(folder, $"{i:000}.dcm");
                    await WriteAsync(path, facts, one);
                    made.Add(path, photographs[i]);
                    if (facts.Picture.Content.Derivation is not null)
                    {
                        rewritten.Add(path);
                    }

                    if (facts.Series.SOPClassUID == SopClasses.DermoscopicPhotographyImageStorage)
                    {
                        skin.Add(path);
                    }

                    break;
                case ObjectOutcome.Held { Reason.Code: var code }:
                    refused.Add(code);
                    break;
            }
        }

        IReadOnlyDictionary<string, JsonElement> objects = await Photographs.JudgeAsync("objects", made.Keys);
        IReadOnlyDictionary<string, JsonElement> pictures = await Photographs.JudgeAsync("pictures", made.Values);
        var faults = new List<string>();
        foreach ((string path, string photograph) in made)
        {
            JsonElement judged = objects[path];
            JsonElement picture = pictures[photograph];
            string[] errors =
            [
                // A derived picture of the eye has Source Image Sequence, empty where no object was the source (PS3.3 C.8.17.2, type 2C, zero or more items);
                // dciodvfy asks for an item by the General Reference Module, whose sequence is of type 3. conformance/agreement.md tells it.
                .. judged.GetProperty("dciodvfy_errors").EnumerateArray().Select(line => line.GetString()!)
                    .Where(line => !(rewritten.Contains(path) && line.Contains("</SourceImageSequence(0008,2112)> ", StringComparison.Ordinal))),
            ];
            if (errors.Length > 0 || judged.GetProperty("pydicom").GetString() != "ok" || (judged.GetProperty("gdcm").GetString() != "ok" && !skin.Contains(path))
                || (!rewritten.Contains(path) && judged.GetProperty("scan_sha256").GetString() != picture.GetProperty("scan_sha256").GetString())
                || (judged.TryGetProperty("frames", out JsonElement frames) && frames.GetInt32() != 1))
            {
                faults.Add($"{Path.GetFileName(photograph)}: {string.Join(' ', errors)} {judged.GetProperty("pydicom")} {judged.GetProperty("gdcm")}");
            }
        }

        Assert.True(faults.Count == 0, string.Join('\n', faults));
        Assert.True(made.Count >= 200, $"only {made.Count} objects");
        Assert.True(refused.Distinct().Count() >= 5, string.Join(' ', refused.Distinct()));
        Directory.Delete(folder, recursive: true);
    }

    internal static async Task WriteAsync(string path, ObjectFacts facts, ObjectOutcome.Made made)
    {
        var meta = new FileMeta(facts.Series.SOPClassUID, facts.Picture.SOPInstanceUID, made.TransferSyntaxUID);
        PixelSource file = Part10File.Encode(meta, made.Encoded);
        await using Stream from = file.OpenRead();
        await using FileStream to = File.Create(path);
        await from.CopyToAsync(to, TestContext.Current.CancellationToken);
    }
}
