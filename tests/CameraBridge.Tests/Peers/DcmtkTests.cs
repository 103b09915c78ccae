using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;
using Xunit;

namespace CameraBridge.Tests.Peers;

/// <summary>Our users against dcmtk's servers, and dcmtk's users against our provider: an implementation that nobody here wrote.</summary>
public sealed class DcmtkTests : IDisposable
{
    private const string Photograph = SopClasses.VLPhotographicImageStorage;
    private const string Jpeg = TransferSyntaxes.JPEGBaseline8Bit;
    private const string Worklist = SopClasses.ModalityWorklistInformationModelFind;

    private readonly string folder = Directory.CreateTempSubdirectory("camerabridge-dcmtk-").FullName;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Fact]
    public async Task Objects_sent_to_storescp_are_stored_as_they_are()
    {
        await using PeerProcess receiver = await PeerProcess.StartReceiverAsync(folder);
        await using Association association = await Association.RequestAsync(Options(receiver.Port, "PEERSTORE"), Stop);
        Assert.True((await new EchoUser(association).EchoAsync(Stop)).IsDone);
        Assert.Equal("OFFIS_DCMTK_367", association.PeerImplementation);

        for (int i = 1; i <= 5; i++)
        {
            DataSet dataSet = Photo($"1.2.3.{i}", 10_000 * i);
            DimseReply reply = await new StoreUser(association).StoreAsync(
                new StoreRequest(Photograph, $"1.2.3.{i}", Jpeg, ElementWriter.Encode(dataSet, TransferSyntax.JpegBaseline)), Stop);
            Assert.Equal(0, reply.Status);
        }

        await association.ReleaseAsync(Stop);
        string[] files = Directory.GetFiles(folder);
        Assert.Equal(5, files.Length);
        foreach (string file in files)
        {
            Part10File stored = await Part10File.OpenAsync(file, cancellationToken: Stop);
            int number = int.Parse(stored.DataSet.GetString(Tags.SOPInstanceUID)![6..], CultureInfo.InvariantCulture);
            Assert.Equal(
                ElementWriter.ToBytes(Photo($"1.2.3.{number}", 10_000 * number), TransferSyntax.JpegBaseline),
                ElementWriter.ToBytes(stored.DataSet, TransferSyntax.JpegBaseline));
        }
    }

    [Fact]
    public async Task A_receiver_that_holds_back_its_answer_until_we_acknowledge_is_not_stalled()
    {
        // Without TCP_NODELAY storescp writes its answer in two pieces under Nagle's algorithm. Measured: 22 objects/s by tuned storescu, and by
        // us without the quick acknowledgement; thousands with it.
        const int Count = 100;
        await using PeerProcess receiver = await PeerProcess.StartAsync(
            "storescp", port => ["--ignore", "+xa", $"{port}"], new Dictionary<string, string> { ["TCP_NODELAY"] = "0" });
        await using Association association = await Association.RequestAsync(Options(receiver.Port, "PEERSTORE"), Stop);
        StoreUser user = new(association);
        PixelSource dataSet = ElementWriter.Encode(Photo("1.2.3.1", 20_000), TransferSyntax.JpegBaseline);
        long start = TimeProvider.System.GetTimestamp();

        for (int i = 0; i < Count; i++)
        {
            await user.StoreAsync(new StoreRequest(Photograph, "1.2.3.1", Jpeg, dataSet), Stop);
        }

        Assert.True(TimeProvider.System.GetElapsedTime(start) < TimeSpan.FromMilliseconds(20) * Count);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task Storescp_that_refuses_every_association_is_told_as_that()
    {
        await using PeerProcess receiver = await PeerProcess.StartReceiverAsync(null, "--refuse");

        AssociationRejectedException thrown = await Assert.ThrowsAsync<AssociationRejectedException>(
            () => Association.RequestAsync(Options(receiver.Port, "PEERSTORE"), Stop));

        Assert.Contains("rejected the association without a reason", thrown.Sentence, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("--abort-after")]
    [InlineData("--abort-during")]
    public async Task Storescp_that_aborts_leaves_it_unknown_whether_the_object_is_kept(string fault)
    {
        await using PeerProcess receiver = await PeerProcess.StartReceiverAsync(null, fault);
        await using Association association = await Association.RequestAsync(Options(receiver.Port, "PEERSTORE"), Stop);

        AssociationException thrown = await Assert.ThrowsAnyAsync<AssociationException>(async () =>
        {
            PixelSource dataSet = ElementWriter.Encode(Photo("1.2.3.1", 4_000_000), TransferSyntax.JpegBaseline);
            await new StoreUser(association).StoreAsync(new StoreRequest(Photograph, "1.2.3.1", Jpeg, dataSet), Stop);
            await new StoreUser(association).StoreAsync(new StoreRequest(Photograph, "1.2.3.1", Jpeg, dataSet), Stop);
        });

        Assert.True(thrown is AssociationAbortedException { ByPeer: true } or ConnectionFailedException, thrown.ToString());
    }

    [Fact]
    public async Task The_worklist_of_wlmscpfs_is_read_and_cancelled()
    {
        string database = await MakeWorklistAsync(40);
        await using PeerProcess worklist = await PeerProcess.StartWorklistAsync(database);
        await using Association association = await Association.RequestAsync(Options(worklist.Port, "PRACTICE"), Stop);
        DataSet keys = new();
        keys.SetEmpty(Tags.SpecificCharacterSet);
        keys.SetEmpty(Tags.AccessionNumber);
        keys.SetEmpty(Tags.PatientName);

        FindResult all = await new FindUser(association).FindAllAsync(Worklist, keys, cancellationToken: Stop);
        FindResult some = await new FindUser(association).FindAllAsync(Worklist, keys, 5, Stop);

        Assert.Equal(40, all.Matches.Count);
        Assert.Equal(0, all.Final.Status);
        Assert.Contains("ACC7", all.Matches.Select(match => match.Identifier.GetString(Tags.AccessionNumber)));
        Assert.Equal(5, some.Matches.Count);
        Assert.True(some.IsCut);
        Assert.True(association.IsOpen);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task Wlmscpfs_rejects_a_title_that_it_does_not_have()
    {
        await using PeerProcess worklist = await PeerProcess.StartWorklistAsync(await MakeWorklistAsync(1));

        AssociationRejectedException thrown = await Assert.ThrowsAsync<AssociationRejectedException>(
            () => Association.RequestAsync(Options(worklist.Port, "NOBODY"), Stop));

        Assert.Contains("does not answer to the called AE title NOBODY", thrown.Sentence, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Echoscu_and_storescu_and_findscu_are_served()
    {
        List<byte[]> stored = [];
        await using Provider provider = Provider.Start(Dicom.Dimse.ProviderTests.Options() with
        {
            Store = async (incoming, token) =>
            {
                using MemoryStream copy = new();
                await incoming.DataSet.CopyToAsync(copy, token);
                stored.Add(copy.ToArray());
                return HandlerAnswer.Success;
            },
            Find = (query, _) => Matches(query.Identifier.GetString(Tags.AccessionNumber) ?? ""),
        });
        string port = provider.EndPoint.Port.ToString(CultureInfo.InvariantCulture);
        string file = Path.Combine(folder, "photo.dcm");
        byte[] dataSet = ElementWriter.ToBytes(Photo("1.2.3.1", 300_001), TransferSyntax.JpegBaseline);
        await WriteAsync(Part10File.Encode(new FileMeta(Photograph, "1.2.3.1", Jpeg), PixelSource.FromBytes(dataSet)), file);

        (int echo, string echoSaid) = await PeerProcess.RunAsync("echoscu", ["127.0.0.1", port, "--repeat", "3"], Stop);
        (int store, string storeSaid) = await PeerProcess.RunAsync("storescu", ["-R", "-xy", "--repeat", "3", "127.0.0.1", port, file], Stop);
        (int find, string findSaid) = await PeerProcess.RunAsync(
            "findscu", ["-W", "-X", "-od", folder, "-k", "AccessionNumber=A", "127.0.0.1", port], Stop);
        (int cancel, string cancelSaid) = await PeerProcess.RunAsync(
            "findscu", ["-v", "-W", "--cancel", "2", "-k", "AccessionNumber=MANY", "127.0.0.1", port], Stop);

        Assert.True(echo == 0, echoSaid);
        Assert.True(store == 0, storeSaid);
        Assert.Equal(3, stored.Count);
        Assert.All(stored, bytes => Assert.Equal(dataSet, bytes));
        Assert.True(find == 0, findSaid);
        Assert.Equal(3, Directory.GetFiles(folder, "rsp*.dcm").Length);
        Assert.True(cancel == 0, cancelSaid);
        Assert.Contains("Cancel", cancelSaid, StringComparison.Ordinal);
    }

    private static AssociationOptions Options(int port, string called) => new()
    {
        Host = "127.0.0.1",
        Port = port,
        CallingAETitle = "CAMBRIDGE",
        CalledAETitle = called,
        PeerKind = "peer",
        Contexts =
        [
            EchoUser.Proposal, new ContextProposal(Photograph, Jpeg),
            new ContextProposal(Worklist, TransferSyntaxes.ExplicitVRLittleEndian), new ContextProposal(Worklist, TransferSyntaxes.ImplicitVRLittleEndian),
        ],
        OperationsInvoked = 4,
    };

    // Enough of an object for a receiver that looks at nothing but the two UIDs; the "picture" is noise.
    private static DataSet Photo(string sopInstanceUid, int length)
    {
        byte[] noise = new byte[length];
        new Random(length).NextBytes(noise);
        DataSet dataSet = new();
        dataSet.Set(Tags.SOPClassUID, Photograph);
        dataSet.Set(Tags.SOPInstanceUID, sopInstanceUid);
        dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromBytes(noise)])));
        return dataSet;
    }

    private static async IAsyncEnumerable<FindMatch> Matches(string accessionNumber)
    {
        for (int i = 0; i < (accessionNumber == "MANY" ? 100_000 : 3); i++)
        {
            DataSet match = new();
            match.Set(Tags.AccessionNumber, $"{accessionNumber}{i}");
            yield return new FindMatch(match);
            await Task.Yield();
        }
    }

    private static async Task WriteAsync(PixelSource source, string path)
    {
        await using FileStream target = File.Create(path);
        await using Stream bytes = source.OpenRead();
        await bytes.CopyToAsync(target, Stop);
    }

    private async Task<string> MakeWorklistAsync(int count)
    {
        string titles = Directory.CreateDirectory(Path.Combine(folder, "worklists", "PRACTICE")).FullName;
        await File.WriteAllTextAsync(Path.Combine(titles, "lockfile"), "", Stop);
        for (int i = 0; i < count; i++)
        {
            DataSet step = new();
            step.Set(Tags.Modality, "XC");
            step.Set(Tags.ScheduledStationAETitle, "CAM1");
            step.Set(Tags.ScheduledProcedureStepStartDate, "20261125");
            step.Set(Tags.ScheduledProcedureStepStartTime, "080000");
            step.Set(Tags.ScheduledProcedureStepDescription, "Invented photo");
            step.Set(Tags.ScheduledProcedureStepID, $"SPS{i}");
            DataSet item = new();
            item.Set(Tags.AccessionNumber, $"ACC{i}");
            item.Set(Tags.PatientName, $"Invented^Person{i}");
            item.Set(Tags.PatientID, $"P{i}");
            item.Set(Tags.StudyInstanceUID, $"1.2.3.{i}");
            item.Set(Tags.RequestedProcedureID, $"RP{i}");
            item.Set(Tags.RequestedProcedureDescription, "Invented photo");
            item.SetItems(Tags.ScheduledProcedureStepSequence, step);
            FileMeta meta = new(SopClasses.ModalityWorklistInformationModelFind, $"1.2.4.{i}", TransferSyntaxes.ExplicitVRLittleEndian);
            await WriteAsync(
                Part10File.Encode(meta, ElementWriter.Encode(item, TransferSyntax.ExplicitLittleEndian)), Path.Combine(titles, $"step{i}.wl"));
        }

        return Path.Combine(folder, "worklists");
    }
}
