using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Web;

/// <summary>Store, query and retrieve against an archive that nobody here wrote: Orthanc 1.10.1 with its DICOMweb plug-in 1.7.</summary>
public sealed class OrthancWebTests : IDisposable
{
    private const string Plugin = "/usr/share/orthanc/plugins/libOrthancDicomWeb.so";
    private const long MaxBytes = 1024 * 1024;

    private readonly string folder = Directory.CreateTempSubdirectory("camerabridge-web-").FullName;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Fact]
    public async Task What_is_stored_is_listed_and_comes_back_byte_for_byte()
    {
        await using OrthancPeer orthanc = await StartAsync();
        WebPeer peer = Peer(orthanc);
        using HttpClient http = peer.CreateClient();
        StowInstance first = WebObjects.Instance("2.25.101"), second = WebObjects.Instance("2.25.102");

        StowReply stored = await new StowClient(http, peer).StoreAsync([first, second], WebObjects.Study, Cancellation);
        StowReply repeated = await new StowClient(http, peer).StoreAsync([first], cancellationToken: Cancellation);
        var queries = new QidoClient(http, peer, new QidoOptions { PageSize = 1 });
        List<DataSet> listed = await queries.ListAsync(WebObjects.Study, WebObjects.Series, Cancellation).ToListAsync(Cancellation);
        InstancePresence kept = await queries.FindAsync(WebObjects.Study, WebObjects.Series, "2.25.102", SopClasses.VLEndoscopicImageStorage, Cancellation);
        InstancePresence absent = await queries.FindAsync(WebObjects.Study, WebObjects.Series, "2.25.199", cancellationToken: Cancellation);
        InstancePresence elsewhere = await queries.FindAsync("2.25.77", "2.25.78", "2.25.102", cancellationToken: Cancellation);
        var retrievals = new WadoClient(http, peer);
        RetrievedHashes? hashes = await retrievals.HashAsync(WebObjects.Study, WebObjects.Series, "2.25.101", MaxBytes, Cancellation);
        using var file = new MemoryStream();
        long? length = await retrievals.RetrieveAsync(WebObjects.Study, WebObjects.Series, "2.25.102", file, MaxBytes, Cancellation);
        RetrievedHashes? missing = await retrievals.HashAsync(WebObjects.Study, WebObjects.Series, "2.25.199", MaxBytes, Cancellation);

        Assert.All(stored.Instances, judged => Assert.Equal(StowVerdict.Stored, judged.Verdict));
        Assert.Equal(200, (int?)stored.StatusCode);
        Assert.Contains("2.25.101", stored["2.25.101"].RetrieveURL, StringComparison.Ordinal);
        Assert.Equal(StowVerdict.Stored, Assert.Single(repeated.Instances).Verdict);
        Assert.Equal(["2.25.101", "2.25.102"], listed.Select(one => one.GetString(Tags.SOPInstanceUID)).Order());
        Assert.Equal((InstancePresence.Kept, InstancePresence.Absent, InstancePresence.Absent), (kept, absent, elsewhere));
        Assert.Equal(await WadoClient.HashAsync(first.File, Cancellation), hashes);
        Assert.NotNull(hashes!.DataSetHash);
        Assert.Equal(second.File.Length, length);
        Assert.Equal(Bytes(second.File), file.ToArray());
        Assert.Null(missing);
    }

    [Fact]
    public async Task Of_a_batch_with_junk_in_it_the_good_object_is_known_to_be_stored()
    {
        await using OrthancPeer orthanc = await StartAsync();
        WebPeer peer = Peer(orthanc);
        using HttpClient http = peer.CreateClient();
        var junk = new StowInstance(SopClasses.VLEndoscopicImageStorage, "2.25.201", PixelSource.FromBytes("this is no object"u8.ToArray()));

        StowReply reply = await new StowClient(http, peer).StoreAsync([WebObjects.Instance("2.25.202"), junk], cancellationToken: Cancellation);
        StowReply alone = await new StowClient(http, peer).StoreAsync([junk], cancellationToken: Cancellation);

        // Seen with this version: 400, and yet the good part is stored and listed in (0008,1199).
        Assert.Equal(400, (int?)reply.StatusCode);
        Assert.Equal(StowVerdict.Stored, reply["2.25.202"].Verdict);
        Assert.True(reply["2.25.201"].Verdict is StowVerdict.Unknown or StowVerdict.Later, reply["2.25.201"].ToString());
        Assert.NotEqual(StowVerdict.Stored, alone["2.25.201"].Verdict);
        Assert.Equal(InstancePresence.Kept, await new QidoClient(http, peer).FindAsync(WebObjects.Study, WebObjects.Series, "2.25.202", cancellationToken: Cancellation));
    }

    [Fact]
    public async Task An_object_of_another_study_than_the_address_is_not_stored_and_the_reason_is_told()
    {
        await using OrthancPeer orthanc = await StartAsync();
        WebPeer peer = Peer(orthanc);
        using HttpClient http = peer.CreateClient();

        StowReply reply = await new StowClient(http, peer).StoreAsync([WebObjects.Instance("2.25.301")], "2.25.999", Cancellation);

        // PS3.18 Table 10.5.3-1: 409 for a study mismatch; this server gives the reason 0110, "processing failure" (Table I.2-2).
        StowJudgement judged = Assert.Single(reply.Instances);
        Assert.Equal(409, (int?)reply.StatusCode);
        Assert.Equal((StowVerdict.Later, (ushort?)0x0110), (judged.Verdict, judged.Reason));
        Assert.Contains("0110", judged.Sentence, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_server_that_takes_no_metadata_with_bulk_data_is_known_by_its_answer()
    {
        await using OrthancPeer orthanc = await StartAsync();
        WebPeer peer = Peer(orthanc);
        using HttpClient http = peer.CreateClient();

        StowReply reply = await new StowClient(http, peer).StoreMetadataAsync([new StowMetadata(WebObjects.DataSet("2.25.501"), TransferSyntax.JpegBaseline)], cancellationToken: Cancellation);

        // This version takes application/dicom only.
        Assert.Equal(415, (int?)reply.StatusCode);
        Assert.Equal((StowVerdict.Later, true), (reply["2.25.501"].Verdict, reply["2.25.501"].ConcernsPeer));
    }

    [Fact]
    public async Task Without_credentials_nothing_is_stored_and_with_them_it_is()
    {
        await using OrthancPeer orthanc = await StartAsync("s€cret");
        WebPeer peer = Peer(orthanc);
        using HttpClient nobody = peer.CreateClient();
        using var authorization = new BasicAuthorizationHandler(OrthancPeer.User, "s€cret");
        using HttpClient gateway = peer.CreateClient(authorization);

        StowReply refused = await new StowClient(nobody, peer).StoreAsync([WebObjects.Instance("2.25.401")], cancellationToken: Cancellation);
        WebPeerException query = await Assert.ThrowsAsync<WebPeerException>(
            () => new QidoClient(nobody, peer).FindAsync(WebObjects.Study, WebObjects.Series, "2.25.401", cancellationToken: Cancellation));
        StowReply stored = await new StowClient(gateway, peer).StoreAsync([WebObjects.Instance("2.25.401")], cancellationToken: Cancellation);

        StowJudgement judged = Assert.Single(refused.Instances);
        Assert.Equal((StowVerdict.Later, true), (judged.Verdict, judged.ConcernsPeer));
        Assert.Contains("credentials", judged.Sentence, StringComparison.Ordinal);
        Assert.Equal((WebFault.Refused, 401), (query.Fault, (int?)query.StatusCode ?? 0));
        Assert.Equal(StowVerdict.Stored, Assert.Single(stored.Instances).Verdict);
    }

    private static byte[] Bytes(PixelSource source)
    {
        using Stream stream = source.OpenRead();
        using var bytes = new MemoryStream();
        stream.CopyTo(bytes);
        return bytes.ToArray();
    }

    private static WebPeer Peer(OrthancPeer orthanc) => new("archive orthanc", orthanc.DicomWebRoot);

    private Task<OrthancPeer> StartAsync(string? password = null)
    {
        OutsideProgram.RequireThat(File.Exists(Plugin), Plugin);
        return OrthancPeer.StartAsync(Path.Combine(folder, "orthanc"), password: password);
    }
}
