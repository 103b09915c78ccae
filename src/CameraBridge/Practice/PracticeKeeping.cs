using System.Collections.Concurrent;
using System.Runtime.CompilerServices;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Practice;

/// <summary>What the practice archive says of what it keeps: queries at the level of images, and storage commitment, reported in the association of the request.</summary>
/// <param name="folder">The archive's folder; what lies in it is what it keeps, whoever put it there or took it away.</param>
/// <param name="logger">Log.</param>
internal sealed class PracticeKeeping(string folder, ILogger logger)
{
    private readonly ConcurrentDictionary<string, Identifiers> _known = new(StringComparer.Ordinal);

    /// <summary>Answers a query of the Study Root model at level IMAGE (PS3.4 section C.6.2.1); all keys are UIDs, matched alone or as a list.</summary>
    public async IAsyncEnumerable<FindMatch> FindAsync(FindQuery query, [EnumeratorCancellation] CancellationToken cancellation)
    {
        if (query.Identifier.GetString(Tags.QueryRetrieveLevel) != "IMAGE")
        {
            throw new RequestFailedException(new HandlerAnswer(Statuses.DataSetDoesNotMatch, "this archive is queried at level IMAGE only"));
        }

        foreach (string path in Directory.EnumerateFiles(folder, "*.dcm"))
        {
            cancellation.ThrowIfCancellationRequested();
            if (Read(Path.GetFileNameWithoutExtension(path)) is { } kept && Fits(query.Identifier, kept))
            {
                yield return new FindMatch(kept.ToAnswer());
            }
        }

        await Task.CompletedTask.ConfigureAwait(false);
    }

    /// <summary>Takes a request for commitment; the report follows the answer.</summary>
    public ValueTask<HandlerAnswer> CommitAsync(InstanceRequest request, CancellationToken cancellation)
    {
        if (CommitmentRequest.Read(request.DataSet) is not { } asked)
        {
            return ValueTask.FromResult(new HandlerAnswer(Statuses.InvalidArgumentValue, "no Transaction UID, or no objects"));
        }

        _ = ReportAsync(request, asked, cancellation);
        return ValueTask.FromResult(HandlerAnswer.Success);
    }

    private async Task ReportAsync(InstanceRequest request, CommitmentRequest asked, CancellationToken cancellation)
    {
        try
        {
            await request.Answered.WaitAsync(cancellation).ConfigureAwait(false);
            ILookup<bool, ReferencedInstance> kept = asked.Instances.ToLookup(instance => Read(instance.SOPInstanceUID)?.SOPClassUID == instance.SOPClassUID);
            CommitmentReport report = new(asked.TransactionUID, [.. kept[true]], [.. kept[false].Select(instance => new FailedInstance(instance, Statuses.NoSuchInstance))]);
            await new CommitmentReporter(request.Association).ReportAsync(report, cancellation).ConfigureAwait(false);
            logger.Committed(request.Origin.PeerName, report.Committed.Count, report.Failed.Count);
        }
        catch (Exception gone) when (gone is AssociationException or OperationCanceledException)
        {
            // The one who asked does not wait any more; it asks again.
            logger.Trouble(request.Origin.PeerName, gone is AssociationException known ? known.Sentence : "The report was given up.");
        }
    }

    private static bool Fits(DataSet keys, Identifiers kept) =>
        Fits(keys, Tags.StudyInstanceUID, kept.StudyInstanceUID)
        && Fits(keys, Tags.SeriesInstanceUID, kept.SeriesInstanceUID)
        && Fits(keys, Tags.SOPInstanceUID, kept.SOPInstanceUID)
        && Fits(keys, Tags.SOPClassUID, kept.SOPClassUID);

    private static bool Fits(DataSet keys, Tag tag, string value) => keys.GetStrings(tag) is not { Count: > 0 } wanted || wanted.Contains(value, StringComparer.Ordinal);

    /// <returns>Null when the archive does not have it, or cannot read it.</returns>
    private Identifiers? Read(string SOPInstanceUID)
    {
        string path = Path.Combine(folder, SOPInstanceUID + ".dcm");
        if (!Uids.IsValid(SOPInstanceUID) || !File.Exists(path))
        {
            return null;
        }

        if (_known.TryGetValue(SOPInstanceUID, out Identifiers? known))
        {
            return known;
        }

        try
        {
            DataSet dataSet = Part10File.Open(path).DataSet;
            return _known[SOPInstanceUID] = new Identifiers(
                dataSet.GetString(Tags.StudyInstanceUID) ?? "", dataSet.GetString(Tags.SeriesInstanceUID) ?? "", SOPInstanceUID, dataSet.GetString(Tags.SOPClassUID) ?? "");
        }
        catch (Exception unreadable) when (unreadable is IOException or MalformedException)
        {
            return null;
        }
    }

    private sealed record Identifiers(string StudyInstanceUID, string SeriesInstanceUID, string SOPInstanceUID, string SOPClassUID)
    {
        public DataSet ToAnswer()
        {
            DataSet answer = new();
            answer.Set(Tags.QueryRetrieveLevel, "IMAGE");
            answer.Set(Tags.StudyInstanceUID, StudyInstanceUID);
            answer.Set(Tags.SeriesInstanceUID, SeriesInstanceUID);
            answer.Set(Tags.SOPInstanceUID, SOPInstanceUID);
            answer.Set(Tags.SOPClassUID, SOPClassUID);
            return answer;
        }
    }
}
