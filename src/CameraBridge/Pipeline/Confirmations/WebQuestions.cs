using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Pipeline.Deliveries;

namespace CameraBridge.Pipeline.Confirmations;

/// <summary>What a retrieval showed of one object.</summary>
internal enum Retrieved
{
    Same,
    Different,
    Absent,
}

/// <summary>Asks a DICOMweb server what it keeps: by QIDO-RS, or by retrieving objects and comparing them with what was sent.</summary>
internal sealed class WebQuestions(WebConnection connection, string spoolFolder) : IDisposable
{
    /// <summary>An answer of more than this beyond what was sent is not read to its end.</summary>
    private const long Margin = 1024 * 1024;

    public void Dispose() => connection.Dispose();

    /// <summary>Opens a connection; credentials are read.</summary>
    /// <returns>Null, with the sentence that says why.</returns>
    [System.Diagnostics.CodeAnalysis.SuppressMessage("Reliability", "CA2000:Dispose objects before losing scope", Justification = "What is returned disposes of it.")]
    public static WebQuestions? TryOpen(WebConfiguration web, string spoolFolder, TimeProvider clock, out string? why) =>
        WebConnection.TryOpen(web, clock, out why) is { } connection ? new WebQuestions(connection, spoolFolder) : null;

    /// <summary>Asks what the server has of one series.</summary>
    /// <exception cref="WebPeerException">No answer could be had.</exception>
    public async Task<QueryAnswer> FindSeriesAsync(string StudyInstanceUID, string SeriesInstanceUID, IReadOnlyList<ImagingObject> objects, CancellationToken cancellation)
    {
        Dictionary<string, string> classes = objects.ToDictionary(made => made.SOPInstanceUID, made => made.SOPClassUID, StringComparer.Ordinal);
        HashSet<string> listed = new(StringComparer.Ordinal);
        await foreach (DataSet item in connection.Qido.ListAsync(StudyInstanceUID, SeriesInstanceUID, cancellation).ConfigureAwait(false))
        {
            if (ArchiveQuestions.Agrees(item, Tags.StudyInstanceUID, StudyInstanceUID)
                && ArchiveQuestions.Agrees(item, Tags.SeriesInstanceUID, SeriesInstanceUID)
                && item.GetString(Tags.InstanceAvailability) != "UNAVAILABLE"
                && item.GetString(Tags.SOPInstanceUID) is { } uid && classes.TryGetValue(uid, out string? sopClass)
                && ArchiveQuestions.Agrees(item, Tags.SOPClassUID, sopClass))
            {
                listed.Add(uid);
            }
        }

        return new QueryAnswer(listed, null);
    }

    /// <summary>Retrieves an object and lays its data set beside what was sent. The file meta information may be the server's own.</summary>
    /// <exception cref="WebPeerException">No answer could be had.</exception>
    /// <exception cref="IOException">The spool cannot be read.</exception>
    public async Task<Retrieved> CompareAsync(ImagingObject made, CancellationToken cancellation)
    {
        PixelSource sent = Part10File.Encode(new FileMeta(made.SOPClassUID, made.SOPInstanceUID, made.TransferSyntaxUID), SpooledObject.Locate(made, spoolFolder));
        RetrievedHashes? theirs = await connection.Wado
            .HashAsync(made.StudyInstanceUID, made.SeriesInstanceUID, made.SOPInstanceUID, sent.Length + Margin, cancellation).ConfigureAwait(false);
        if (theirs is null)
        {
            return Retrieved.Absent;
        }

        RetrievedHashes ours = await WadoClient.HashAsync(sent, cancellation).ConfigureAwait(false);
        return theirs.DataSetHash is not null && theirs.DataSetHash == ours.DataSetHash ? Retrieved.Same : Retrieved.Different;
    }
}
