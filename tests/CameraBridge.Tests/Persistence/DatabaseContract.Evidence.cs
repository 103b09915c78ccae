using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>Label shots, cards, and pictures that a card took back: they follow their sitting, and of the last the spool keeps a copy for good.</summary>
public abstract partial class DatabaseContract
{
    [Fact]
    public async Task A_picture_that_was_taken_back_goes_from_its_source_with_its_sitting_and_never_from_the_spool()
    {
        IPipelineDatabase database = await OpenedAsync();
        IReadOnlyList<long> ids = await EvidenceAsync(database, filed: true);
        await FlowSteps.KeepAsync(database, "archive");

        Assert.All(await database.GetStandingsAsync("stick", Cancellation), standing => Assert.Equal(Standing.Kept, standing.Standing));
        IReadOnlyList<Work> releases = await LeaseAsync(database, Stage.Releases, "stick");
        Assert.Equal(ids, releases.Select(work => work.SubjectId).Order());
        await database.CompleteReleasesAsync([.. releases.Select(work => new ReleaseResult(work, ReleaseState.Removed, null))], Cancellation);

        Assert.Equal([ids[0], ids[2]], (await database.GetTrimmableAsync(Clock.GetUtcNow().AddDays(1), 10, Cancellation)).Select(task => task.CaptureId).Order());
    }

    [Fact]
    public async Task A_sitting_of_which_everything_was_taken_back_keeps_no_stick_from_being_wiped()
    {
        IPipelineDatabase database = await OpenedAsync();
        await EvidenceAsync(database, filed: false);

        Assert.All(await database.GetStandingsAsync("stick", Cancellation), standing => Assert.Equal(Standing.Kept, standing.Standing));
        Assert.Empty(await database.GetTrimmableAsync(Clock.GetUtcNow().AddDays(1), 10, Cancellation));
    }

    /// <summary>A matched sitting of a picture, one that was taken back, and the card that did it.</summary>
    private async Task<IReadOnlyList<long>> EvidenceAsync(IPipelineDatabase database, bool filed)
    {
        IReadOnlyList<long> ids = await AddAsync(database, "1/1.jpg", "1/2.jpg", "1/3.jpg");
        await ReadCuesAsync(database);
        Clock.Advance(Quiet);
        Work closing = Assert.Single(await LeaseAsync(database, Stage.Sittings));
        Assert.True(await database.CompleteSittingAsync(closing, [new SittingPart(ids, "folder", Empty: false)], Cancellation));
        Work matching = Assert.Single(await LeaseAsync(database, Stage.Matches));
        Assert.True(await database.CompleteMatchAsync(matching, new Match { SittingId = matching.SubjectId, StepJson = "{}" }, Cancellation));
        Work making = Assert.Single(await LeaseAsync(database, Stage.Objects));
        ImagingObject made = new()
        {
            CaptureId = ids[0],
            SOPClassUID = FlowSteps.SOPClassUID,
            SOPInstanceUID = "2.25.1",
            StudyInstanceUID = "2.25.1000",
            SeriesInstanceUID = "2.25.2000",
            TransferSyntaxUID = FlowSteps.TransferSyntaxUID,
            Pieces = [],
            Destinations = ["archive"],
        };
        CaptureVerdict[] evidence =
        [
            .. filed ? [] : new[] { new CaptureVerdict(ids[0], CaptureState.Evidence, "taken back") },
            new CaptureVerdict(ids[1], CaptureState.Evidence, "taken back"),
            new CaptureVerdict(ids[2], CaptureState.Evidence, null),
        ];
        Assert.True(await database.CompleteObjectsAsync(making, filed ? [made] : [], [], evidence, Cancellation));
        return ids;
    }
}
