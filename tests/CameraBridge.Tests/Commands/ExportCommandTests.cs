using CameraBridge.Commands.Exports;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Persistence;
using CameraBridge.Persistence.Sqlite;
using CameraBridge.Pipeline;
using CameraBridge.Tests.Dicom.Part10;
using Xunit;

namespace CameraBridge.Tests.Commands;

/// <summary>Copies on media: what they hold, what is refused, what a crash and a faulty medium leave. That they can be read, judges pydicom.</summary>
public sealed class ExportCommandTests
{
    private static readonly TransferSyntax Clip = TransferSyntax.Find(TransferSyntaxes.MPEG4HP41)!;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task Sittings_become_a_file_set_that_pydicom_reads_whole()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 3);
        await site.AddSittingAsync("0002", 2, "P2");

        ExportReply reply = await site.ExportAsync("--id", "VAN_7");

        Assert.Equal((0, true, 5, 0, 0, 2, 2, 2, 5), (reply.ExitCode, reply.Changed, reply.Written, reply.There, reply.LeftOut, reply.Patients, reply.Studies, reply.Series, reply.Files));
        Assert.True(reply.WithinProfile);
        Assert.False(reply.IsConfirmation);
        MediaJudged judged = await MediaJudged.ReadAsync(site.Out);
        Assert.Empty(judged.Wrong);
        Assert.Equal(("VAN_7", reply.FileSetUID, 5), (judged.FileSetID, judged.FileSetUID, judged.Files.Count));
        IReadOnlyDictionary<string, string> contents = site.Contents();
        Assert.All(
            reply.Sittings.SelectMany(sitting => sitting.Objects),
            one => Assert.Equal((ExportState.Written, one.Sha256), (one.State, contents[one.FileID!.Replace('\\', '/')])));
        Assert.Equal(7, contents.Count);
    }

    [Fact]
    public async Task What_is_sent_and_what_is_exported_are_the_same_bytes()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        long sitting = await site.AddSittingAsync("0001", 1);
        await site.ExportAsync();

        await using SqlitePipelineDatabase database = await site.OpenAsync();
        ImagingObject made = (await database.GetContentsAsync(sitting, Cancellation))!.Objects[0];
        Part10File file = Part10File.Open(Path.Combine(site.Out, "PA000001", "ST000001", "SE000001", "IM000001"));
        using Stream exported = file.EncodedDataSet.OpenRead(), sent = CameraBridge.Pipeline.Deliveries.SpooledObject.Locate(made, site.Spool).OpenRead();
        Assert.Equal(await HashAsync(sent), await HashAsync(exported));
        Assert.Equal((made.SOPInstanceUID, made.TransferSyntaxUID, "CAMERABRIDGE"), (file.Meta.MediaStorageSOPInstanceUID, file.Meta.TransferSyntaxUID, file.Meta.SourceApplicationEntityTitle));
    }

    [Fact]
    public async Task An_export_changes_nothing_in_the_queue()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001");
        await using SqlitePipelineDatabase database = await site.OpenAsync();
        IReadOnlyList<Undelivered> before = await database.GetUndeliveredAsync(null, null, Cancellation);

        TestTerminal run = await site.RunAsync("--source", "stick", "--to", site.Out);

        Assert.Equal(before, await database.GetUndeliveredAsync(null, null, Cancellation));
        Assert.Contains("no confirmation", run.Out, StringComparison.Ordinal);
        Assert.Contains("2 object(s) written", run.Out, StringComparison.Ordinal);
        Assert.DoesNotContain("Doe", run.Out + run.Error, StringComparison.Ordinal);
        string readme = await File.ReadAllTextAsync(Path.Combine(site.Out, "README.TXT"), Cancellation);
        Assert.Contains("PROVES NOTHING ABOUT THE ARCHIVE", readme, StringComparison.Ordinal);
        Assert.All(readme, character => Assert.True(character is '\r' or '\n' or (>= ' ' and <= '~')));
        Assert.DoesNotContain("Doe", readme, StringComparison.Ordinal);
        Assert.DoesNotContain("P1", readme, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_folder_of_ours_is_extended_and_keeps_its_names_and_its_UID()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001");
        ExportReply first = await site.ExportAsync("--id", "FIRST");
        IReadOnlyDictionary<string, string> before = site.Contents();
        await site.AddSittingAsync("0002", 1);

        ExportReply second = await site.ExportAsync("--id", "SECOND");

        Assert.Equal((1, 2, "FIRST", first.FileSetUID, 1, 2), (second.Written, second.There, second.FileSetID, second.FileSetUID, second.Patients, second.Studies));
        IReadOnlyDictionary<string, string> after = site.Contents();
        Assert.All(before.Keys.Except(["DICOMDIR", "README.TXT"]), name => Assert.Equal(before[name], after[name]));
        Assert.Contains("PA000001/ST000002/SE000001/IM000001", after.Keys);
        MediaJudged judged = await MediaJudged.ReadAsync(site.Out);
        Assert.Empty(judged.Wrong);
        Assert.Equal(3, judged.Files.Count);
    }

    [Fact]
    public async Task Clips_are_copied_and_told_to_be_outside_the_profile_or_left_out_on_demand()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 1);
        await site.AddSittingAsync("0002", 1, syntax: Clip);

        ExportReply strict = await site.ExportAsync("--profile-only");
        Assert.Equal((0, 1, 1, true), (strict.ExitCode, strict.Written, strict.LeftOut, strict.WithinProfile));
        Assert.Contains("STD-GEN-USB-JPEG does not take", strict.Sittings[1].Objects[0].Reason!, StringComparison.Ordinal);
        Assert.Contains("profile: STD-GEN-USB-JPEG", await File.ReadAllTextAsync(Path.Combine(site.Out, "README.TXT"), Cancellation), StringComparison.Ordinal);

        TestTerminal run = await site.RunAsync("--source", "stick", "--to", site.Out);
        Assert.Equal(0, run.ExitCode);
        Assert.Contains("In the folder, but not taken by STD-GEN-USB-JPEG: 0002/IMG_0001.JPG (MPEG-4 AVC/H.264 High Profile / Level 4.1).", run.Out, StringComparison.Ordinal);
        Assert.Contains("profile: none", await File.ReadAllTextAsync(Path.Combine(site.Out, "README.TXT"), Cancellation), StringComparison.Ordinal);
        Assert.Equal(2, (await MediaJudged.ReadAsync(site.Out)).Files.Count);
    }

    [Fact]
    public async Task Only_what_is_not_kept_everywhere_is_copied_on_demand()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 3);
        await using (SqlitePipelineDatabase database = await site.OpenAsync())
        {
            IReadOnlyList<Work> work = await database.LeaseAsync(Stage.Deliveries, "archive", 2, TimeSpan.FromMinutes(1), Cancellation);
            await database.CompleteDeliveriesAsync([.. work.Select(one => new DeliveryResult(one, DeliveryState.Stored, 0, "stored", null) { ConfirmAt = DateTimeOffset.UnixEpoch })], Cancellation);
            Work asked = (await database.LeaseAsync(Stage.Confirmations, "archive", 1, TimeSpan.FromMinutes(1), Cancellation)).Single();
            await database.CompleteConfirmationsAsync([new ConfirmationResult(asked, ConfirmationOutcome.Kept, ConfirmationWay.Query, "kept", null, 1)], Cancellation);
        }

        ExportReply reply = await site.ExportAsync("--unconfirmed");

        // 0x0000 alone is no word that it is kept: the one that is stored and not confirmed is copied too.
        Assert.Equal((2, 0), (reply.Written, reply.ExitCode));
        Assert.DoesNotContain(reply.Sittings[0].Objects, one => one.SOPInstanceUID == "2.25.1");
    }

    [Fact]
    public async Task Two_patients_of_one_ID_are_refused_and_nothing_is_written()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001");
        await site.AddSittingAsync("0002", change: made => made.Set(Tags.PatientName, "Roe^Rita"));

        TestTerminal run = await site.RunAsync("--source", "stick", "--to", site.Out);

        Assert.Equal(2, run.ExitCode);
        Assert.Contains("0002/IMG_0001.JPG of sitting 2 cannot stand in one folder with the others", run.Error, StringComparison.Ordinal);
        Assert.Contains("another Patient's Name", run.Error, StringComparison.Ordinal);
        Assert.DoesNotContain("Roe", run.Error, StringComparison.Ordinal);
        Assert.False(Directory.Exists(site.Out));
        Assert.Equal(0, (await site.RunAsync("--sitting", "2", "--to", site.Out)).ExitCode);
    }

    [Fact]
    public async Task What_the_spool_no_longer_has_is_left_out_with_exit_code_4_and_the_rest_is_copied()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 3);
        File.Delete(Path.Combine(site.Spool, "0001-IMG_0002.JPG"));
        await File.WriteAllBytesAsync(Path.Combine(site.Spool, "0001-IMG_0003.JPG"), [1, 2, 3], Cancellation);

        ExportReply reply = await site.ExportAsync();

        Assert.Equal((4, 1, 2), (reply.ExitCode, reply.Written, reply.LeftOut));
        Assert.Contains("Restore the spool", reply.Sittings[0].Objects[1].Reason!, StringComparison.Ordinal);
        Assert.Empty((await MediaJudged.ReadAsync(site.Out)).Wrong);
    }

    [Fact]
    public async Task Held_pictures_and_unfinished_ones_are_told_by_the_exit_code()
    {
        using HeldSite held = await HeldSite.CreateAsync(Cancellation);
        string folder = Path.Combine(Path.GetDirectoryName(held.Config)!, "out");
        TestTerminal run = await TestTerminal.RunAsync(Cancellation, "export", "--sitting", $"{held.Sitting}", "--to", folder, "--config", held.Config);
        Assert.Equal(3, run.ExitCode);
        Assert.Contains("There is nothing to export. Nothing was written.", run.Out, StringComparison.Ordinal);
        Assert.Contains("camerabridge held list", run.Out, StringComparison.Ordinal);
        Assert.False(Directory.Exists(folder));

        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 1);
        await using (SqlitePipelineDatabase database = await site.OpenAsync())
        {
            await database.AddCapturesAsync([Persistence.FlowSteps.Capture("0002/IMG_0001.JPG")], TimeSpan.FromMinutes(1), Cancellation);
        }

        ExportReply reply = await site.ExportAsync();
        Assert.Equal((4, 1, 1), (reply.ExitCode, reply.Written, reply.Sittings[1].UnfinishedCaptures));
    }

    [Fact]
    public async Task A_folder_that_somebody_else_uses_is_left_alone()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001");
        Directory.CreateDirectory(site.Out);
        string file = Path.Combine(site.Out, "HOLIDAY.JPG");
        await File.WriteAllTextAsync(file, "somebody's", Cancellation);
        TestTerminal notEmpty = await site.RunAsync("--source", "stick", "--to", site.Out);
        Assert.Contains("not empty", notEmpty.Error, StringComparison.Ordinal);

        await File.WriteAllTextAsync(Path.Combine(site.Out, "DICOMDIR"), "somebody's", Cancellation);
        TestTerminal notOurs = await site.RunAsync("--source", "stick", "--to", site.Out);
        Assert.Contains("none that this program can extend", notOurs.Error, StringComparison.Ordinal);

        Assert.Equal((2, 2), (notEmpty.ExitCode, notOurs.ExitCode));
        Assert.Equal(["DICOMDIR", "HOLIDAY.JPG"], site.Contents().Keys.Order(StringComparer.Ordinal));
        Assert.Equal("somebody's", await File.ReadAllTextAsync(file, Cancellation));
    }

    [Fact]
    public async Task A_source_that_watches_every_mount_is_no_obstacle()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001");
        string mounts = Path.Combine(Path.GetDirectoryName(site.Out)!, "mounts");
        Directory.CreateDirectory(Path.Combine(mounts, "usb"));
        await File.WriteAllTextAsync(
            site.Config, (await File.ReadAllTextAsync(site.Config, Cancellation)).Replace($"folder: {site.Source}", $"folder: '{mounts}/*', kind: stick", StringComparison.Ordinal), Cancellation);

        TestTerminal run = await site.RunAsync("--source", "stick", "--to", Path.Combine(mounts, "usb", "EXPORT"));

        Assert.Equal((0, ""), (run.ExitCode, run.Error));
    }

    [Fact]
    public async Task What_systems_put_on_an_empty_stick_is_no_obstacle()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001");
        Directory.CreateDirectory(Path.Combine(site.Out, "System Volume Information"));
        Directory.CreateDirectory(Path.Combine(site.Out, ".Trash-1000"));
        Assert.Equal((0, 2), ((await site.ExportAsync()).ExitCode, (await site.ExportAsync()).There));
    }

    [Fact]
    public async Task A_file_set_that_lost_a_file_is_not_extended()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001");
        await site.ExportAsync();
        File.Delete(Path.Combine(site.Out, "PA000001", "ST000001", "SE000001", "IM000002"));

        TestTerminal run = await site.RunAsync("--source", "stick", "--to", site.Out);

        Assert.Equal(2, run.ExitCode);
        Assert.Contains("lists 1 file(s) that are not there", run.Error, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_damaged_file_is_found_out_and_written_anew()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001");
        await site.ExportAsync();
        IReadOnlyDictionary<string, string> before = site.Contents();
        string path = Path.Combine(site.Out, "PA000001", "ST000001", "SE000001", "IM000002");
        byte[] bytes = await File.ReadAllBytesAsync(path, Cancellation);
        bytes[^100] ^= 1;
        await File.WriteAllBytesAsync(path, bytes, Cancellation);

        ExportReply reply = await site.ExportAsync();

        Assert.Equal((0, 1, 1), (reply.ExitCode, reply.Written, reply.There));
        Assert.Contains("damaged", reply.Sittings[0].Objects[1].Reason!, StringComparison.Ordinal);
        Assert.Equal(before["PA000001/ST000001/SE000001/IM000002"], site.Contents()["PA000001/ST000001/SE000001/IM000002"]);
    }

    [Fact]
    public async Task What_a_crash_left_is_removed_by_the_next_export_and_nothing_else()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 1);
        await site.ExportAsync();
        string folder = Path.Combine(site.Out, "PA000001", "ST000001", "SE000001");
        foreach (string left in (string[])["IM000002", "IM000003.TMP"])
        {
            await File.WriteAllTextAsync(Path.Combine(folder, left), "half", Cancellation);
        }

        string note = Path.Combine(folder, "notes.txt");
        await File.WriteAllTextAsync(note, "somebody's", Cancellation);

        ExportReply reply = await site.ExportAsync();

        Assert.Equal((2, 1), (reply.LeftoversRemoved, reply.There));
        Assert.Equal(["IM000001", "notes.txt"], Directory.GetFiles(folder).Select(Path.GetFileName).Order(StringComparer.Ordinal));
    }

    [Fact]
    public async Task A_medium_that_runs_full_leaves_a_directory_that_lists_nothing_half()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 1);
        await site.ExportAsync();
        await site.AddSittingAsync("0002", 1);
        IReadOnlyDictionary<string, string> before = site.Contents();

        // A file where a folder has to be stands for whatever the medium refuses.
        await File.WriteAllTextAsync(Path.Combine(site.Out, "PA000001", "ST000002"), "", Cancellation);
        TestTerminal run = await site.RunAsync("--source", "stick", "--to", site.Out);

        Assert.Equal(4, run.ExitCode);
        Assert.Contains("cannot be read or written", run.Error, StringComparison.Ordinal);
        Assert.Equal(before["DICOMDIR"], site.Contents()["DICOMDIR"]);
    }

    [Fact]
    public async Task Two_exports_into_one_folder_do_not_meet()
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 1);
        using (MediaFolder other = new(Directory.CreateDirectory(site.Out).FullName, "2.25.1", "TEST"))
        {
            await other.OpenAsync(Cancellation);
            TestTerminal run = await site.RunAsync("--source", "stick", "--to", site.Out);
            Assert.Equal(4, run.ExitCode);
            Assert.Contains("Another export writes into", run.Error, StringComparison.Ordinal);
        }

        Assert.Equal(0, (await site.ExportAsync()).ExitCode);
    }

    [Theory]
    [InlineData("usage", "--to", "/tmp/x")]
    [InlineData("usage", "--sitting", "1")]
    [InlineData("usage", "--sitting", "1", "--to", "/tmp/x", "--id", "van 7")]
    [InlineData("no-such-sitting", "--sitting", "99", "--to", "OUT")]
    [InlineData("no-such-source", "--source", "stik", "--to", "OUT")]
    [InlineData("folder-in-use", "--sitting", "1", "--to", "SPOOL")]
    [InlineData("folder-in-use", "--sitting", "1", "--to", "SPOOL/x")]
    [InlineData("folder-in-use", "--sitting", "1", "--to", "SOURCE/x")]
    [InlineData("no-folder", "--sitting", "1", "--to", "OUT/not/there")]
    public async Task A_wrong_command_is_refused_and_writes_nothing(string code, params string[] args)
    {
        using ExportSite site = await ExportSite.CreateAsync();
        await site.AddSittingAsync("0001", 1);

        TestTerminal run = await site.RunAsync(
            [.. args.Select(arg => arg.Replace("OUT", site.Out, StringComparison.Ordinal).Replace("SPOOL", site.Spool, StringComparison.Ordinal).Replace("SOURCE", site.Source, StringComparison.Ordinal)), "--json"]);

        Assert.Equal(2, run.ExitCode);
        Assert.Equal(code, run.Json().GetProperty("error").GetProperty("code").GetString());
        Assert.False(Directory.Exists(site.Out));
        Assert.Equal(code == "no-such-source", run.Out.Contains("Did you mean stick?", StringComparison.Ordinal));
    }

    private static async Task<string> HashAsync(Stream stream) => Convert.ToHexStringLower(await System.Security.Cryptography.SHA256.HashDataAsync(stream, Cancellation));
}
