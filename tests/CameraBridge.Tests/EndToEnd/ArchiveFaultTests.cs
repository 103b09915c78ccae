using CameraBridge.Commands;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>Archives that misbehave, against the program as it is run: its exit code, its sentence, and that everything arrives once when they behave again.</summary>
public sealed class ArchiveFaultTests
{
    // Statuses of C-STORE: PS3.4 Table B.2-1 (edition 2025e).
    private const ushort OutOfResources = 0xA700, DataSetDoesNotMatch = 0xA900, CannotUnderstand = 0xC000, Coerced = 0xB000;

    [Fact]
    public async Task An_archive_out_of_resources_gets_each_object_again_until_it_takes_it()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port);
        archive.Answer = (request, _) => new(request < 4 ? new HandlerAnswer(OutOfResources) : HandlerAnswer.Success);

        FaultSite.AssertDelivered(await site.OnceAsync("1 min"));

        site.AssertKeptOnce(archive);
        Assert.Equal(FaultSite.Pictures + 4, archive.Requests);
    }

    [Fact]
    public async Task An_archive_that_stays_out_of_resources_leaves_all_queued_and_its_comment_is_not_repeated()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port);
        archive.AnswerAlways(OutOfResources, $"disk full at {FaultSite.PatientName}");

        Run run = await site.OnceAsync();

        FaultSite.AssertUndelivered(run, FaultSite.Pictures, "archive FAULTARCHIVE", "could not take it now", "A700", "out of resources", "sent again");
        Assert.Empty(archive.Kept);
        archive.AnswerAlways(Statuses.Success);
        await site.AssertMendedAsync(archive);
    }

    [Theory]
    [InlineData(DataSetDoesNotMatch, "A900")]
    [InlineData(CannotUnderstand, "C000")]
    public async Task An_archive_that_refuses_one_object_gets_the_others_and_the_one_is_told(ushort status, string code)
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port);
        archive.Answer = (request, _) => new(request == 1 ? new HandlerAnswer(status, FaultSite.PatientID) : HandlerAnswer.Success);

        Run run = await site.OnceAsync();

        FaultSite.AssertUndelivered(run, 1, "archive FAULTARCHIVE", "refused it", code, "See the archive's log", "not sent again");
        Assert.Equal(FaultSite.Pictures - 1, archive.Kept.Count);
        // Refused for good: another pass does not bother the archive with it.
        FaultSite.AssertUndelivered(await site.OnceAsync(), 1, code);
        Assert.Equal(FaultSite.Pictures, archive.Requests);
    }

    [Fact]
    public async Task What_an_archive_refused_is_sent_again_by_command_when_the_archive_is_mended()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port);
        archive.Answer = (request, _) => new(request == 0 ? HandlerAnswer.Success : new HandlerAnswer(CannotUnderstand, FaultSite.PatientID));
        FaultSite.AssertUndelivered(await site.OnceAsync(), FaultSite.Pictures - 1, "refused it", "'camerabridge deliveries again'");

        Run list = await site.DeliveriesAsync("list");
        Run dry = await site.DeliveriesAsync("again", "--by", "R. Example", "--dry-run");
        archive.AnswerAlways(Statuses.Success);
        FaultSite.AssertUndelivered(await site.OnceAsync(), FaultSite.Pictures - 1, "refused it");
        Run again = await site.DeliveriesAsync("again", "--by", "R. Example", "--destination", "archive");

        Assert.Equal((ExitCodes.Undelivered, ExitCodes.AllWell, ExitCodes.AllWell), (list.ExitCode, dry.ExitCode, again.ExitCode));
        FaultSite.AssertSentence(list.Output, "archive: 2 not delivered (2 refused), of 1 sitting(s).", "C000");
        FaultSite.AssertSentence(again.Output, "2 are put into the queue again", "R. Example");
        Assert.Equal(FaultSite.Pictures, archive.Requests);
        await site.AssertMendedAsync(archive);
        // The same objects, byte for byte, and no other.
        Assert.Equal(FaultSite.Pictures + 2, archive.Requests);
        Assert.Equal(archive.Refused.Select(one => one.SOPInstanceUID), archive.Kept.Skip(1).Select(one => one.SOPInstanceUID));
        Assert.Equal(archive.Refused.Select(one => one.DataSet), archive.Kept.Skip(1).Select(one => one.DataSet));
        Assert.Equal(ExitCodes.AllWell, (await site.DeliveriesAsync("list")).ExitCode);
        await site.DeliveriesAsync("again", "--by", "R. Example");
        await site.AssertMendedAsync(archive);
    }

    [Fact]
    public async Task An_archive_that_warns_has_the_objects_and_the_warning_is_in_the_log()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, archive.Port);
        archive.AnswerAlways(Coerced);

        Run run = await site.OnceAsync();

        FaultSite.AssertDelivered(run);
        FaultSite.AssertSentence(run.Errors, "archive FAULTARCHIVE", "stored it with a warning", "B000", "coerced", "what was sent was not altered");
        await site.AssertMendedAsync(archive);
    }

    [Theory]
    [InlineData("--refuse", "archive PEERSTORE", "rejected the association", "its own list of known AE titles", "A-ASSOCIATE-RJ")]
    [InlineData("--abort-after", "archive PEERSTORE", "aborted the association in the middle of the work", "look into its log", "under the same UID")]
    [InlineData("--abort-during", "archive PEERSTORE", "aborted the association in the middle of the work", "look into its log", "under the same UID")]
    public async Task A_receiver_of_dcmtk_that_refuses_or_aborts_is_told_and_gets_all_when_it_behaves(string option, params string[] words)
    {
        await using FaultyWorklist worklist = new();
        using FaultSite site = new();
        string received = Directory.CreateDirectory(Path.Combine(site.Folder, "received")).FullName;
        await using (PeerProcess faulty = await PeerProcess.StartReceiverAsync(received, option))
        {
            site.Use(worklist.Port, faulty.Port, OutsideHospital.ArchiveAETitle);
            FaultSite.AssertUndelivered(await site.OnceAsync(), FaultSite.Pictures, words);
        }

        await using PeerProcess mended = await PeerProcess.StartReceiverAsync(received);
        site.Use(worklist.Port, mended.Port, OutsideHospital.ArchiveAETitle);
        FaultSite.AssertDelivered(await site.OnceAsync("1 min"));
        // A file of the receiver is named after its SOP instance: what it had stored before it aborted came again under the same UID, or there would be more.
        site.AssertEachOnce([.. Directory.EnumerateFiles(received).Select(File.ReadAllBytes)]);
    }

    [Fact]
    public async Task A_receiver_that_is_not_there_is_told_with_what_to_look_at()
    {
        await using FaultyWorklist worklist = new();
        await using FaultyArchive archive = new();
        using FaultSite site = new FaultSite().Use(worklist.Port, PeerProcess.FreePort());

        FaultSite.AssertUndelivered(await site.OnceAsync(), FaultSite.Pictures, "archive FAULTARCHIVE", "nothing listens there", "is it running");

        site.Use(worklist.Port, archive.Port);
        await site.AssertMendedAsync(archive);
    }
}
