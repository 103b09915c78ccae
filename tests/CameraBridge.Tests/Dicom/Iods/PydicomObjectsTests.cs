using System.Diagnostics;
using CameraBridge.Dicom.Iods;
using CameraBridge.Tests.Dicom.Iods.Agreement;
using CameraBridge.Tests.Meta;
using Xunit;

namespace CameraBridge.Tests.Dicom.Iods;

/// <summary>Right objects that pydicom wrote (tests/peers/make_objects.py), bit stream and all: nothing of this project had a hand in them.</summary>
public sealed class PydicomObjectsTests
{
    [Fact]
    public async Task Right_objects_written_by_pydicom_have_no_error_of_ours_nor_of_dciodvfy()
    {
        const string python = "/usr/bin/python3";
        Assert.SkipUnless(File.Exists(python), "The objects need Debian's python3-pydicom and python3-pil.");
        OutsideJudge.Require();
        CancellationToken cancellation = TestContext.Current.CancellationToken;
        DirectoryInfo folder = Directory.CreateTempSubdirectory("camerabridge-pydicom-");
        using (var process = Process.Start(new ProcessStartInfo(python, [Path.Combine(Repository.Root, "tests/peers/make_objects.py"), folder.FullName]) { RedirectStandardOutput = true })!)
        {
            await process.StandardOutput.ReadToEndAsync(cancellation);
            await process.WaitForExitAsync(cancellation);
            Assert.Equal(0, process.ExitCode);
        }

        string[] files = [.. folder.EnumerateFiles("*.dcm").Select(file => file.FullName)];
        Assert.True(files.Length >= 5);
        foreach (string file in files)
        {
            FileReport report = FileCheck.Check(file);

            Assert.NotNull(report.Iod);
            Assert.True(report.Conforms, $"{file}: {string.Join("; ", report.Findings)}");
            Assert.DoesNotContain(await OutsideJudge.JudgeAsync(file, cancellation), remark => remark.IsError);
        }

        folder.Delete(recursive: true);
    }
}
