using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dictionary;

/// <summary>
/// The registry against the two packages it was made from, as they are installed (dcmtk's dicom.dic, made of edition 2022b; pydicom's, of 2022a).
/// Each difference must be explained: by a row of additions-2025e.tsv (later than 2022b; the supplement where we know it), or by the table here.
/// </summary>
public sealed class DictionaryAgainstPackagesTests
{
    /// <summary>Differences that no edition explains, but the package's way of writing does.</summary>
    private static readonly Dictionary<string, string> Explained = new()
    {
        ["00281200"] = "dcmtk writes lt (US or OW) where PS3.6 has US or SS or OW",
        ["00080202"] = "keyword withdrawn: dcmtk leaves the row out",
        ["00180061"] = "keyword withdrawn: dcmtk leaves the row out",
        ["00189445"] = "keyword withdrawn: dcmtk leaves the row out",
        ["00280020"] = "keyword withdrawn: dcmtk leaves the row out",
        ["04000315"] = "keyword withdrawn: dcmtk leaves the row out",
        ["300A0782"] = "keyword withdrawn: dcmtk leaves the row out",
    };

    /// <summary>What dcmtk writes for a choice of representations, or for none.</summary>
    private static readonly Dictionary<string, string> DcmtkShorthand = new()
    {
        ["ox"] = "OB|OW",
        ["px"] = "OB|OW",
        ["xs"] = "US|SS",
        ["lt"] = "US|OW",
        ["up"] = "UL",
        ["na"] = "",
    };

    private sealed record Row(string Vrs, string Vm, bool Retired, string Keyword);

    [Fact]
    public void The_dictionary_differs_from_dcmtk_only_where_a_later_edition_does()
    {
        string? path = Directory.GetDirectories("/usr/share", "libdcmtk*").Select(folder => Path.Combine(folder, "dicom.dic")).FirstOrDefault(File.Exists);
        OutsideProgram.RequireThat(path is not null, "dcmtk");
        var theirs = new Dictionary<Tag, Row>();
        foreach (string[] columns in File.ReadLines(path!).Where(line => line.StartsWith('(')).Select(line => line.Split('\t')))
        {
            if (columns[4] is "PRIVATE" or "ILLEGAL" or "GENERIC")
            {
                continue;
            }

            // "(6000-60FF,0010)" stands for a range; its first tag will do, but group 7F00, which has none of the elements.
            string digits = string.Concat(columns[0].Trim('(', ')').Split(',').Select(half => half[..4])).Replace("7F00", "7F02", StringComparison.Ordinal);
            Assert.True(Tag.TryParse(digits, out Tag tag));
            theirs[tag] = new Row(
                DcmtkShorthand.GetValueOrDefault(columns[1], columns[1]),
                columns[3],
                columns[4].EndsWith("retired", StringComparison.Ordinal),
                columns[2].Replace("RETIRED_", "", StringComparison.Ordinal));
        }

        Compare(theirs, minimum: 4991);
    }

    [Fact]
    public async Task The_dictionary_differs_from_pydicom_only_where_a_later_edition_does()
    {
        const string Script = """
            from pydicom._dicom_dict import DicomDictionary, RepeatersDictionary
            rows = [('%08X' % tag, row) for tag, row in DicomDictionary.items()]
            rows += [(tag.replace('x', '2').upper(), row) for tag, row in RepeatersDictionary.items()]
            for tag, (vr, vm, name, retired, keyword) in rows: print(tag, vr, vm, retired, keyword, sep='\t')
            """;
        string output = await OutsideProgram.RunAsync(OutsideProgram.Python, "-c", Script);
        var theirs = new Dictionary<Tag, Row>();
        foreach (string[] columns in output.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(line => line.Split('\t')))
        {
            Assert.True(Tag.TryParse(columns[0], out Tag tag));
            theirs[tag] = new Row(
                columns[1].Replace("NONE", "", StringComparison.Ordinal).Replace(" or ", "|", StringComparison.Ordinal),
                columns[2],
                columns[3] == "Retired",
                columns[4]);
        }

        Compare(theirs, minimum: 4992);
    }

    [Fact]
    public async Task The_uids_differ_from_pydicom_only_where_a_later_edition_does()
    {
        const string Script = """
            from pydicom._uid_dict import UID_dictionary
            for uid, (name, kind, info, retired, keyword) in UID_dictionary.items(): print(uid, kind, retired, keyword, sep='\t')
            """;
        string output = await OutsideProgram.RunAsync(OutsideProgram.Python, "-c", Script);
        HashSet<string> later = [.. Additions("uid").Select(row => row[1])];
        Dictionary<string, string[]> theirs = output.Split('\n', StringSplitOptions.RemoveEmptyEntries).Select(line => line.Split('\t')).ToDictionary(row => row[0]);

        Assert.Equal(454, theirs.Count);
        foreach (UidEntry entry in UidRegistry.All.Where(entry => !later.Contains(entry.Uid)))
        {
            Assert.Equal([entry.Uid, entry.Type, entry.Retired ? "Retired" : "", entry.Keyword], theirs[entry.Uid]);
        }

        Assert.All(theirs.Keys, uid => Assert.NotNull(UidRegistry.Find(uid)));
    }

    private static void Compare(Dictionary<Tag, Row> theirs, int minimum)
    {
        HashSet<string> later = [.. Additions("new").Concat(Additions("changed")).Select(row => row[1])];
        Assert.True(theirs.Count >= minimum, $"only {theirs.Count} rows were read");
        var unexplained = new List<string>();
        foreach ((Tag tag, Row row) in theirs)
        {
            TagEntry? entry = TagDictionary.Find(tag);
            Row? ours = entry is null ? null : new Row(string.Join('|', entry.Vrs), entry.Vm, entry.Retired, entry.Keyword);
            if (ours != row && !IsExplained(tag))
            {
                unexplained.Add($"{tag}: they have {row}, we have {ours}");
            }
        }

        unexplained.AddRange(TagDictionary.All
            .Where(entry => !theirs.ContainsKey(entry.Tag) && !IsExplained(entry.Tag) && !IsRepeating(entry.Tag))
            .Select(entry => $"{entry.Tag} {entry.Keyword}: only we have it"));
        Assert.Empty(unexplained);

        bool IsExplained(Tag tag)
        {
            string digits = tag.Value.ToString("X8", CultureInfo.InvariantCulture);
            return later.Contains(digits) || Explained.ContainsKey(digits);
        }

        // Rows of repeating tags are compared from their side, each under one of its tags.
        bool IsRepeating(Tag tag) => tag.Group is 0x1000 or 0x1010 or 0x5000 or 0x6000 or 0x7F00 || (tag.Group, tag.Number >> 8) is (0x0020, 0x31) or (0x0028, 0x04) or (0x0028, 0x08);
    }

    private static IEnumerable<string[]> Additions(string kind) => File
        .ReadLines(Path.Combine(RepositoryFolder(), "src/CameraBridge.Dicom/Dictionary/generator/additions-2025e.tsv"))
        .Select(line => line.Split('\t'))
        .Where(columns => columns[0] == kind);

    private static string RepositoryFolder()
    {
        string? folder = AppContext.BaseDirectory;
        while (!File.Exists(Path.Combine(folder!, "CameraBridge.sln")))
        {
            folder = Path.GetDirectoryName(folder);
        }

        return folder!;
    }
}
