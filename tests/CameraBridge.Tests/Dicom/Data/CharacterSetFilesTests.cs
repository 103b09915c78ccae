using System.Diagnostics;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>Files in seventeen character sets that came with pydicom, read here and by pydicom itself.</summary>
public sealed class CharacterSetFilesTests
{
    private const string Folder = "/usr/lib/python3/dist-packages/pydicom/data/charset_files";

    // A line a name: file, how deep it stands, the name as UTF-8. pydicom leaves empty groups at the end off, as the comparison here does.
    private const string Script = """
        import glob, os, pydicom, sys
        def names(dataset, depth):
            for element in dataset:
                if element.VR == 'SQ':
                    for item in element.value:
                        yield from names(item, depth + 1)
                elif element.VR == 'PN':
                    for name in (element.value if element.VM > 1 else [element.value]):
                        yield depth, str(name)
        for path in sorted(glob.glob(sys.argv[1] + '/*.dcm')):
            dataset = pydicom.dcmread(path)
            dataset.decode()
            for depth, name in names(dataset, 0):
                if name.strip('^='):
                    sys.stdout.buffer.write(('%s %d %s\n' % (os.path.basename(path), depth, name)).encode('utf-8'))
        """;

    [Fact]
    public async Task Every_name_is_read_as_pydicom_reads_it()
    {
        Assert.SkipUnless(Directory.Exists(Folder), "pydicom with its files (apt-get install python3-pydicom) is the peer of this test.");
        var start = new ProcessStartInfo("/usr/bin/python3", ["-c", Script, Folder]) { RedirectStandardOutput = true, StandardOutputEncoding = System.Text.Encoding.UTF8 };
        using Process process = Process.Start(start)!;
        string output = await process.StandardOutput.ReadToEndAsync(TestContext.Current.CancellationToken);
        await process.WaitForExitAsync(TestContext.Current.CancellationToken);
        string[] expected = [.. output.Split('\n', StringSplitOptions.RemoveEmptyEntries)];
        Assert.True(expected.Length >= 17);

        var read = new List<string>();
        foreach (string path in Directory.GetFiles(Folder, "*.dcm").Order(StringComparer.Ordinal))
        {
            Part10File file = await Part10File.OpenAsync(path, cancellationToken: TestContext.Current.CancellationToken);
            Assert.Empty(file.DataSet.FindTextFlaws());
            read.AddRange(Names(file.DataSet, 0).Select(name => $"{Path.GetFileName(path)} {name}"));
        }

        Assert.Equal(expected, read);
    }

    private static IEnumerable<string> Names(DataSet set, int depth)
    {
        foreach (Element element in set)
        {
            foreach (string name in (element.Items ?? []).SelectMany(item => Names(item, depth + 1)))
            {
                yield return name;
            }

            if (element.Vr == Vr.PN)
            {
                foreach (string name in set.GetStrings(element.Tag).Select(value => PersonName.Parse(value).ToString()).Where(value => value.Length > 0))
                {
                    yield return $"{depth} {name}";
                }
            }
        }
    }
}
