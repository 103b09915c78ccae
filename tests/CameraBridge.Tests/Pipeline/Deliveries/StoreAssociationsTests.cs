using CameraBridge.Configuration;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Deliveries;

public sealed class StoreAssociationsTests
{
    private static readonly TimeSpan Limit = TimeSpan.FromSeconds(20);

    private static readonly ContextProposal[] Photograph = [new(SopClasses.VLPhotographicImageStorage, TransferSyntaxes.JPEGBaseline8Bit)];

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_worker_that_waits_for_an_archive_of_one_association_takes_over_what_another_gives_back()
    {
        // dcmtk's storescp without --fork serves one association at a time: the second request is answered only after the first association has ended.
        await using PeerProcess archive = await PeerProcess.StartReceiverAsync(null);
        await using StoreAssociations associations = new(
            new PeerConfiguration { Name = "archive", Host = "127.0.0.1", Port = archive.Port, CalledAETitle = "PEERSTORE" }, "CAMERABRIDGE", TimeProvider.System);
        BorrowedAssociation first = await associations.BorrowAsync(Photograph, Stop);
        Task<BorrowedAssociation> second = associations.BorrowAsync(Photograph, Stop);
        Assert.False(second.IsCompleted);

        await associations.ReturnAsync(first);

        BorrowedAssociation taken = await second.WaitAsync(Limit, TimeProvider.System, Stop);
        Assert.Same(first.Association, taken.Association);
        Assert.True(taken.IsReused);
        await associations.ReturnAsync(taken);
        Assert.Equal(1, associations.IdleCount);
    }

    [Fact]
    public async Task An_association_for_other_objects_is_not_taken_over()
    {
        await using PeerProcess archive = await PeerProcess.StartReceiverAsync(null, "--fork");
        await using StoreAssociations associations = new(
            new PeerConfiguration { Name = "archive", Host = "127.0.0.1", Port = archive.Port, CalledAETitle = "PEERSTORE" }, "CAMERABRIDGE", TimeProvider.System);
        BorrowedAssociation first = await associations.BorrowAsync(Photograph, Stop);
        Task<BorrowedAssociation> second = associations.BorrowAsync([new(SopClasses.VLEndoscopicImageStorage, TransferSyntaxes.JPEGBaseline8Bit)], Stop);

        await associations.ReturnAsync(first);

        BorrowedAssociation made = await second.WaitAsync(Limit, TimeProvider.System, Stop);
        Assert.NotSame(first.Association, made.Association);
        await associations.ReturnAsync(made);
    }
}
