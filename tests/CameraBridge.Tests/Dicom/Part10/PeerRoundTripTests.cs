using System.Text.Json;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Part10;

/// <summary>dcmtk and pydicom read what we write, and we read what dcmtk writes of it in every syntax it has.</summary>
public sealed class PeerRoundTripTests : IDisposable
{
    private readonly string folder = Directory.CreateTempSubdirectory("part10-").FullName;

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Theory]
    [InlineData("+ti", "1.2.840.10008.1.2", "-e")] // implicit little endian, undefined lengths
    [InlineData("+te", "1.2.840.10008.1.2.1", "-e")] // explicit little endian, undefined lengths
    [InlineData("+te", "1.2.840.10008.1.2.1", "+e")] // defined lengths
    [InlineData("+tb", "1.2.840.10008.1.2.2", "-e")] // explicit big endian
    [InlineData("+td", "1.2.840.10008.1.2.1.99", "+e")] // deflated explicit little endian
    public async Task What_dcmtk_makes_of_our_file_reads_back_the_same(string syntaxOption, string uid, string lengthOption)
    {
        DataSet original = SampleDataSets.Rich();
        string written = await WriteAsync(original, TransferSyntax.ExplicitLittleEndian);
        string converted = Path.Combine(folder, "converted.dcm");

        // +g: with group lengths; --write-new-meta-info would hide ours, so it stays off.
        await OutsideProgram.RunAsync("dcmconv", syntaxOption, lengthOption, "+g", written, converted);
        Part10File read = await Part10File.OpenAsync(converted, cancellationToken: TestContext.Current.CancellationToken);

        Assert.Equal(uid, read.TransferSyntax.Uid);
        Assert.Empty(read.Findings);
        foreach (Tag groupLength in read.DataSet.Select(element => element.Tag).Where(tag => tag.IsGroupLength).ToArray())
        {
            read.DataSet.Remove(groupLength);
        }

        string expected = Json(original);
        if (syntaxOption == "+ti")
        {
            // Implicit encoding forgets what a private element was.
            read.DataSet.Put(Element.FromBytes(new Tag(0x0009, 0x1001), Vr.LO, read.DataSet[new Tag(0x0009, 0x1001)]!.Value));
        }

        Assert.Equal(expected, Json(read.DataSet));
    }

    [Fact]
    public async Task Pydicom_reads_every_value_as_we_meant_it()
    {
        foreach (TransferSyntax syntax in new[] { TransferSyntax.ExplicitLittleEndian, TransferSyntax.ImplicitLittleEndian })
        {
            DataSet dataSet = SampleDataSets.Rich();
            string file = await WriteAsync(dataSet, syntax);
            string json = Path.Combine(folder, "ours.json");
            await File.WriteAllBytesAsync(json, DicomJson.Write(dataSet), TestContext.Current.CancellationToken);

            // JSON against JSON, numbers by value; what pydicom does otherwise: private text and an element of a later edition are UN in implicit, and it writes an empty
            // sequence and an empty UN as empty arrays and strings.
            const string Script = """
                import json, sys, pydicom
                theirs = json.loads(pydicom.dcmread(sys.argv[1]).to_json())
                ours = json.load(open(sys.argv[2], encoding='utf-8'))
                def same(a, b):
                    if isinstance(a, dict) and isinstance(b, dict):
                        drop = lambda d: {k: v for k, v in d.items() if not (k == 'Value' and v == []) and not (k == 'InlineBinary' and v == '')}
                        a, b = drop(a), drop(b)
                        return a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
                    if isinstance(a, list) and isinstance(b, list):
                        return len(a) == len(b) and all(map(same, a, b))
                    if isinstance(a, (int, float)) or isinstance(b, (int, float)):
                        return float(a) == float(b)
                    return a == b or (a in (None, '') and b in (None, ''))
                if sys.argv[3] == 'implicit':
                    for tag in ('00091001', '7FE00003'): theirs.pop(tag); ours.pop(tag)
                for tag in sorted(set(theirs) | set(ours)):
                    if not same(theirs.get(tag), ours.get(tag)): print(tag, 'pydicom', theirs.get(tag), 'we', ours.get(tag))
                """;
            Assert.Equal("", await OutsideProgram.RunAsync(OutsideProgram.Python, "-c", Script, file, json, syntax.IsExplicit ? "explicit" : "implicit"));
        }
    }

    [Fact]
    public async Task Dcmtk_and_pydicom_extract_the_fragments_byte_for_byte()
    {
        string jpeg = Path.Combine(folder, "picture.bin");
        byte[] bytes = new byte[100_001];
        new Random(7).NextBytes(bytes);
        await File.WriteAllBytesAsync(jpeg, bytes, TestContext.Current.CancellationToken);
        DataSet dataSet = SampleDataSets.Encapsulated(PixelSource.FromFile(jpeg, 0, 60_000), PixelSource.FromFile(jpeg, 60_000, 40_001));
        string file = await WriteAsync(dataSet, TransferSyntax.JpegBaseline);

        const string Script = """
            import sys, pydicom, pydicom.encaps
            ds = pydicom.dcmread(sys.argv[1])
            data = b''.join(pydicom.encaps.decode_data_sequence(ds.PixelData))
            print(data == open(sys.argv[2], 'rb').read() + b'\0', ds.file_meta.TransferSyntaxUID)
            """;
        Assert.Equal("True 1.2.840.10008.1.2.4.50\n", await OutsideProgram.RunAsync(OutsideProgram.Python, "-c", Script, file, jpeg));

        await OutsideProgram.RunAsync("dcmdump", "-q", "+P", "7fe0,0010", "+W", folder, file);
        byte[] extracted = [.. Directory.GetFiles(folder, "*.raw").Order(StringComparer.Ordinal).SelectMany(File.ReadAllBytes)];
        Assert.Equal([.. bytes, 0], extracted);

        // And we ourselves, from the file, without holding the pixels.
        Part10File read = await Part10File.OpenAsync(file, cancellationToken: TestContext.Current.CancellationToken);
        PixelSource[] fragments = [.. read.DataSet[Tags.PixelData]!.Encapsulated!.Fragments];
        Assert.All(fragments, fragment => Assert.Equal(file, Assert.Single(fragment.Pieces).Path));
        Assert.Equal([.. bytes, 0], ElementReaderTests.Bytes(PixelSource.Concat(fragments)));
    }

    [Fact]
    public async Task Files_without_preamble_or_meta_information_are_read_and_said_so()
    {
        string written = await WriteAsync(SampleDataSets.Rich(), TransferSyntax.ExplicitLittleEndian);
        foreach (string option in new[] { "+ti", "+te", "+tb" })
        {
            // dcmconv -F writes the data set alone.
            string bare = Path.Combine(folder, "bare.dcm");
            await OutsideProgram.RunAsync("dcmconv", "-F", option, written, bare);
            Part10File read = await Part10File.OpenAsync(bare, cancellationToken: TestContext.Current.CancellationToken);
            Assert.Equal(2, read.Findings.Count);
            Assert.Equal(SampleDataSets.SOPInstanceUID, read.DataSet.GetString(Tags.SOPInstanceUID));
        }

        byte[] whole = await File.ReadAllBytesAsync(written, TestContext.Current.CancellationToken);
        Part10File withoutPreamble = Part10File.Read(whole.AsMemory(132));
        Assert.Single(withoutPreamble.Findings);
        Assert.Equal("Størm^Åse^^Dr.=嵐^明日香", withoutPreamble.DataSet.GetString(Tags.PatientName));
        Assert.Throws<MalformedException>(() => Part10File.Read("%PDF-1.4 and so on"u8.ToArray()));
    }

    private async Task<string> WriteAsync(DataSet dataSet, TransferSyntax syntax)
    {
        string path = Path.Combine(folder, "written.dcm");
        var meta = new FileMeta(dataSet.GetString(Tags.SOPClassUID)!, SampleDataSets.SOPInstanceUID, syntax.Uid);
        await using FileStream file = File.Create(path);
        await using Stream content = Part10File.Encode(meta, ElementWriter.Encode(dataSet, syntax)).OpenRead();
        await content.CopyToAsync(file, TestContext.Current.CancellationToken);
        return path;
    }

    /// <summary>The JSON model is the common language: it has every value and forgets lengths, padding and byte order.</summary>
    private static string Json(DataSet dataSet)
    {
        using var document = JsonDocument.Parse(DicomJson.Write(dataSet));
        return JsonSerializer.Serialize(document.RootElement);
    }
}
