using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Dimse;

/// <summary>An object that the archive does not commit to keeping.</summary>
/// <param name="Instance">The object.</param>
/// <param name="FailureReason">Failure Reason (0008,1197); null when the archive gave none.</param>
public sealed record FailedInstance(ReferencedInstance Instance, ushort? FailureReason)
{
    /// <summary>The row of the table of reasons: what it means and what to do.</summary>
    public StatusEntry Meaning => Statuses.Find("commitment", FailureReason ?? ushort.MaxValue);

    /// <summary>"0112: the archive does not have the object", fit for logs.</summary>
    public string Reason => FailureReason is { } code
        ? string.Create(CultureInfo.InvariantCulture, $"{code:X4}: {Meaning.Meaning}")
        : "the archive gave no reason";
}

/// <summary>What a report says of an object that was asked for.</summary>
public enum CommitmentState
{
    /// <summary>The report says nothing that could be relied on.</summary>
    Unknown,

    /// <summary>The archive keeps it.</summary>
    Committed,

    /// <summary>The archive does not.</summary>
    Failed,
}

/// <summary>The judgement of one object that was asked for.</summary>
/// <param name="Instance">The object.</param>
/// <param name="State">Committed only when the report says so and nothing in it speaks against it.</param>
/// <param name="FailureReason">Failure Reason (0008,1197), if it failed and there was one.</param>
/// <param name="Sentence">Why, as a part of a sentence; fit for logs.</param>
public sealed record CommitmentVerdict(ReferencedInstance Instance, CommitmentState State, ushort? FailureReason, string Sentence);

/// <summary>What an archive reports of a request for storage commitment (PS3.4 Table J.3-2).</summary>
/// <param name="TransactionUID">Transaction UID (0008,1195).</param>
/// <param name="Committed">Referenced SOP Sequence: what it keeps.</param>
/// <param name="Failed">Failed SOP Sequence: what it does not.</param>
public sealed record CommitmentReport(string TransactionUID, IReadOnlyList<ReferencedInstance> Committed, IReadOnlyList<FailedInstance> Failed)
{
    /// <summary>Event Type ID: all objects are kept.</summary>
    public const ushort AllCommitted = 1;

    /// <summary>Event Type ID: some are not.</summary>
    public const ushort FailuresExist = 2;

    /// <summary>Event Type ID as it was sent. The lists count, not this: archives contradict themselves.</summary>
    public ushort EventTypeID { get; init; } = Failed.Count == 0 ? AllCommitted : FailuresExist;

    /// <summary>Retrieve AE Title (0008,0054) of all objects; null when the archive gave none for all.</summary>
    public string? RetrieveAETitle { get; init; }

    /// <summary>The AE title that reported, as it named itself; empty for a report that is being made.</summary>
    public string ReportedBy { get; init; } = "";

    /// <summary>
    /// Reads the event information, tolerantly: items without an instance are left out, missing sequences are empty ones; who was asked for
    /// and stands nowhere is found by <see cref="Judge"/>.
    /// </summary>
    /// <returns>Null when there is no Transaction UID: then nobody can tell what it is about.</returns>
    public static CommitmentReport? Read(ushort eventTypeID, DataSet eventInformation)
    {
        ArgumentNullException.ThrowIfNull(eventInformation);
        if (eventInformation.GetString(Tags.TransactionUID) is not { } transaction)
        {
            return null;
        }

        List<FailedInstance> failed = [];
        foreach (DataSet item in eventInformation.GetItems(Tags.FailedSOPSequence))
        {
            if (ReferencedInstance.Read(item) is { } instance)
            {
                failed.Add(new FailedInstance(instance, item.GetInt32(Tags.FailureReason) is { } reason and >= 0 and <= ushort.MaxValue ? (ushort)reason : null));
            }
        }

        return new CommitmentReport(
            transaction,
            [.. eventInformation.GetItems(Tags.ReferencedSOPSequence).Select(ReferencedInstance.Read).OfType<ReferencedInstance>()],
            failed)
        {
            EventTypeID = eventTypeID,
            RetrieveAETitle = eventInformation.GetString(Tags.RetrieveAETitle),
        };
    }

    /// <summary>
    /// Judges each object that was asked for. Doubt never confirms: in both lists is failed; in neither, or under another class, is unknown.
    /// </summary>
    /// <param name="asked">What the request named.</param>
    public IReadOnlyList<CommitmentVerdict> Judge(IReadOnlyList<ReferencedInstance> asked)
    {
        ArgumentNullException.ThrowIfNull(asked);
        ILookup<string, FailedInstance> failed = Failed.ToLookup(one => one.Instance.SOPInstanceUID, StringComparer.Ordinal);
        ILookup<string, ReferencedInstance> committed = Committed.ToLookup(one => one.SOPInstanceUID, StringComparer.Ordinal);
        return [.. asked.Select(instance => failed[instance.SOPInstanceUID].FirstOrDefault() is { } failure
            ? new CommitmentVerdict(instance, CommitmentState.Failed, failure.FailureReason, failure.Reason)
            : JudgeOne(instance, [.. committed[instance.SOPInstanceUID]]))];
    }

    /// <summary>Objects that the report names and nobody asked for: the archive mixes up transactions, or somebody else used this UID.</summary>
    /// <param name="asked">What the request named.</param>
    public IReadOnlyList<ReferencedInstance> NotAskedFor(IReadOnlyList<ReferencedInstance> asked)
    {
        ArgumentNullException.ThrowIfNull(asked);
        HashSet<string> known = new(asked.Select(one => one.SOPInstanceUID), StringComparer.Ordinal);
        return [.. Committed.Concat(Failed.Select(one => one.Instance)).Where(one => !known.Contains(one.SOPInstanceUID)).Distinct()];
    }

    internal DataSet ToDataSet()
    {
        DataSet dataSet = new();
        dataSet.Set(Tags.TransactionUID, TransactionUID);
        if (RetrieveAETitle is not null)
        {
            dataSet.Set(Tags.RetrieveAETitle, RetrieveAETitle);
        }

        if (Committed.Count > 0)
        {
            dataSet.SetItems(Tags.ReferencedSOPSequence, Committed.Select(one => one.ToItem()));
        }

        if (Failed.Count > 0)
        {
            dataSet.SetItems(Tags.FailedSOPSequence, Failed.Select(one =>
            {
                DataSet item = one.Instance.ToItem();
                item.SetInt(Tags.FailureReason, one.FailureReason ?? Statuses.ProcessingFailure);
                return item;
            }));
        }

        return dataSet;
    }

    private static CommitmentVerdict JudgeOne(ReferencedInstance instance, IReadOnlyList<ReferencedInstance> entries)
    {
        if (entries.Count == 0)
        {
            return new CommitmentVerdict(instance, CommitmentState.Unknown, null, "the report does not mention it");
        }

        // An archive that leaves the class out has named the object all the same; one that names another class has another object.
        return entries.Any(entry => entry.SOPClassUID.Length > 0 && entry.SOPClassUID != instance.SOPClassUID)
            ? new CommitmentVerdict(instance, CommitmentState.Unknown, null, "the report names it with another SOP class")
            : new CommitmentVerdict(instance, CommitmentState.Committed, null, "the archive commits to keeping it");
    }
}
