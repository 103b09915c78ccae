using System.Text.Json;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Tests.Dicom.Iods;
using Xunit;

namespace CameraBridge.Tests.Commands;

public sealed class ValidateCommandTests : IDisposable
{
    private readonly DirectoryInfo folder = Directory.CreateTempSubdirectory("camerabridge-validate-");

    public void Dispose() => folder.Delete(recursive: true);

    [Fact]
    public async Task A_folder_of_right_files_exits_0_and_tells_what_no_file_tells()
    {
        Write("a.dcm", FileCheckTests.Endoscopic());
        Write("deep/b.dcm", FileCheckTests.Endoscopic());
        await File.WriteAllTextAsync(Path.Combine(folder.FullName, "DICOMDIR"), "an index", TestContext.Current.CancellationToken);

        TestTerminal run = await RunAsync(folder.FullName);

        Assert.Equal(0, run.ExitCode);
        Assert.Contains("2 files against DICOM 2025e: 2 conform, 0 do not. 0 errors, 0 warnings, 2 notes.", run.Out, StringComparison.Ordinal);
        Assert.Contains("Not testable from a file:", run.Out, StringComparison.Ordinal);
        Assert.Empty(run.Error);
    }

    [Fact]
    public async Task A_broken_a_torn_and_a_foreign_file_exit_5_each_with_its_finding()
    {
        DataSet broken = FileCheckTests.Endoscopic();
        broken.Remove(Tags.PatientID);
        string first = Write("broken.dcm", broken);
        string second = Path.Combine(folder.FullName, "torn.dcm");
        await File.WriteAllBytesAsync(second, FileCheckTests.Bytes(FileCheckTests.Endoscopic())[..700], TestContext.Current.CancellationToken);
        string third = Path.Combine(folder.FullName, "list.txt");
        await File.WriteAllTextAsync(third, "milk, bread", TestContext.Current.CancellationToken);

        TestTerminal run = await RunAsync(first, second, third, "--json");

        Assert.Equal(5, run.ExitCode);
        JsonElement reply = run.Json();
        Assert.False(reply.GetProperty("conforms").GetBoolean());
        Assert.Equal(3, reply.GetProperty("counts").GetProperty("nonconforming").GetInt32());
        JsonElement[] files = [.. reply.GetProperty("files").EnumerateArray()];
        JsonElement missing = files[0].GetProperty("findings")[0];
        Assert.Equal(
            ("type2.missing", "PatientID", "PS3.3 C.7.1.1", "error"),
            (Text(missing, "rule"), Text(missing, "path"), Text(missing, "section"), Text(missing, "severity")));
        Assert.Equal("VL Endoscopic Image", files[0].GetProperty("class").GetString());
        Assert.Equal("file.malformed", Text(files[1].GetProperty("findings")[0], "rule"));
        Assert.Equal("file.malformed", Text(files[2].GetProperty("findings")[0], "rule"));
        Assert.NotEmpty(reply.GetProperty("not_testable").EnumerateArray());
    }

    [Fact]
    public async Task The_page_stands_alone_and_escapes_what_it_shows()
    {
        DataSet broken = FileCheckTests.Endoscopic();
        broken.Put(Element.FromBytes(Tags.ImageType, Vr.CS, "<script>alert(1)</script>\\X"u8.ToArray()));
        Write("a&b <i>.dcm", broken);
        string page = Path.Combine(folder.FullName, "page.html");

        TestTerminal run = await RunAsync(Path.Combine(folder.FullName, "a&b <i>.dcm"), "--html", page);

        Assert.Equal(5, run.ExitCode);
        string html = await File.ReadAllTextAsync(page, TestContext.Current.CancellationToken);
        Assert.StartsWith("<!doctype html>", html, StringComparison.Ordinal);
        Assert.Contains("a&amp;b &lt;i&gt;.dcm", html, StringComparison.Ordinal);
        Assert.Contains("&lt;script&gt;", html, StringComparison.Ordinal);
        foreach (string forbidden in (string[])["<script", "<img", "<link", "http:", "https:", "url(", "@import"])
        {
            Assert.DoesNotContain(forbidden, html, StringComparison.OrdinalIgnoreCase);
        }
    }

    [Fact]
    public async Task No_form_of_the_report_shows_a_value_of_the_patient()
    {
        DataSet broken = FileCheckTests.Endoscopic();
        foreach ((Tag tag, Vr vr) in new[] { (Tags.PatientName, Vr.PN), (Tags.PatientID, Vr.LO), (Tags.PatientBirthDate, Vr.DA), (Tags.PatientSex, Vr.CS) })
        {
            broken.Put(Element.FromBytes(tag, vr, (byte[])[.. "qqsecret\\"u8, .. Enumerable.Repeat((byte)'q', 71)]));
        }

        string file = Write("a.dcm", broken);
        string page = Path.Combine(folder.FullName, "page.html");

        TestTerminal text = await RunAsync(file, "--html", page);
        TestTerminal json = await RunAsync(file, "--json");

        Assert.Equal(5, text.ExitCode);
        foreach (string report in (string[])[text.Out, json.Out, await File.ReadAllTextAsync(page, TestContext.Current.CancellationToken)])
        {
            Assert.Contains("PatientName", report, StringComparison.Ordinal);
            Assert.DoesNotContain("qq", report, StringComparison.OrdinalIgnoreCase);
        }
    }

    [Fact]
    public async Task What_does_not_exist_or_cannot_be_written_exits_2()
    {
        string file = Write("a.dcm", FileCheckTests.Endoscopic());

        TestTerminal missing = await RunAsync(Path.Combine(folder.FullName, "b.dcm"));
        TestTerminal empty = await RunAsync(folder.CreateSubdirectory("empty").FullName);
        TestTerminal page = await RunAsync(file, "--html", Path.Combine(folder.FullName, "no/such/page.html"));
        TestTerminal nothing = await RunAsync();

        Assert.All([missing, empty, page, nothing], run => Assert.Equal(2, run.ExitCode));
        Assert.Contains("There is no file or folder", missing.Error, StringComparison.Ordinal);
        Assert.Contains("There is no file in what was named", empty.Error, StringComparison.Ordinal);
        Assert.Contains("cannot be written", page.Error, StringComparison.Ordinal);
    }

    private static string? Text(JsonElement element, string name) => element.GetProperty(name).GetString();

    private static Task<TestTerminal> RunAsync(params string[] args) => TestTerminal.RunAsync(TestContext.Current.CancellationToken, ["validate", .. args]);

    private string Write(string name, DataSet dataSet)
    {
        string path = Path.Combine(folder.FullName, name);
        Directory.CreateDirectory(Path.GetDirectoryName(path)!);
        File.WriteAllBytes(path, FileCheckTests.Bytes(dataSet));
        return path;
    }
}
