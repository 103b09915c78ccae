using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>What a copy on media is made of.</summary>
public abstract partial class DatabaseContract
{
    [Fact]
    public async Task All_of_a_sitting_that_can_be_copied_is_told_of_one_moment()
    {
        IPipelineDatabase database = await OpenedAsync();
        (long first, IReadOnlyList<Work> work) = await EndedSittingAsync(database);
        long second = await QueuedSittingAsync(database, ["2/a.jpg"], "archive");

        SittingContents contents = (await database.GetContentsAsync(first, Cancellation))!;

        Assert.Equal((first, SittingState.Matched), (contents.Sitting.Id, contents.Sitting.State));
        Assert.Equal(["1/a.jpg", "1/b.jpg", "1/c.jpg", "1/d.jpg", "1/e.jpg"], contents.Captures.Select(capture => capture.Place));
        Assert.Equal(contents.Captures.Select(capture => capture.Id), contents.Objects.Select(made => made.CaptureId));
        // The very pieces that a delivery sends.
        IReadOnlyList<DeliveryTask> sent = await database.GetDeliveriesAsync(work, Cancellation);
        Assert.Equivalent(sent.Select(task => task.Object), contents.Objects, strict: true);
        Assert.Equal(
            [DeliveryState.Stored, DeliveryState.StoredWithWarning, DeliveryState.Refused, DeliveryState.GivenUp, DeliveryState.Waiting],
            contents.Deliveries.Select(delivery => delivery.State));
        Assert.Equal([first, second], await database.GetSittingsOfSourceAsync("stick", Cancellation));
        Assert.Empty(await database.GetSittingsOfSourceAsync("elsewhere", Cancellation));
        Assert.Null(await database.GetContentsAsync(second + 1, Cancellation));
    }
}
