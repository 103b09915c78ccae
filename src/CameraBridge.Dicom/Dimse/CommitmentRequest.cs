using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Dimse;

/// <summary>An object by its class and its UID.</summary>
/// <param name="SOPClassUID">SOP class.</param>
/// <param name="SOPInstanceUID">SOP instance.</param>
public sealed record ReferencedInstance(string SOPClassUID, string SOPInstanceUID)
{
    internal static ReferencedInstance? Read(DataSet item) => item.GetString(Tags.ReferencedSOPInstanceUID) is { } uid
        ? new ReferencedInstance(item.GetString(Tags.ReferencedSOPClassUID) ?? "", uid)
        : null;

    internal DataSet ToItem()
    {
        DataSet item = new();
        item.Set(Tags.ReferencedSOPClassUID, SOPClassUID);
        item.Set(Tags.ReferencedSOPInstanceUID, SOPInstanceUID);
        return item;
    }
}

/// <summary>
/// A request that an archive commit to keeping objects (PS3.4 Table J.3-1). Its Transaction UID is made, and stored with the objects, before
/// anything is sent: a report may arrive at any time after, in another association and after a restart. A UID is used for one request only.
/// </summary>
public sealed record CommitmentRequest
{
    /// <param name="transactionUID">Transaction UID (0008,1195).</param>
    /// <param name="instances">One object or more, none of them twice.</param>
    /// <exception cref="ArgumentException">A UID is none, or there are no objects, or one stands twice.</exception>
    public CommitmentRequest(string transactionUID, IReadOnlyList<ReferencedInstance> instances)
    {
        ArgumentNullException.ThrowIfNull(instances);
        if (!Uids.IsValid(transactionUID))
        {
            throw new ArgumentException($"\"{transactionUID}\" is no Transaction UID.", nameof(transactionUID));
        }

        if (instances.Count == 0)
        {
            throw new ArgumentException("A commitment is asked for at least one object.", nameof(instances));
        }

        HashSet<string> seen = new(StringComparer.Ordinal);
        foreach (ReferencedInstance instance in instances)
        {
            if (!Uids.IsValid(instance.SOPClassUID) || !Uids.IsValid(instance.SOPInstanceUID) || !seen.Add(instance.SOPInstanceUID))
            {
                throw new ArgumentException($"The object \"{instance.SOPInstanceUID}\" has a UID that is none, or stands twice.", nameof(instances));
            }
        }

        TransactionUID = transactionUID;
        Instances = instances;
    }

    /// <summary>Transaction UID (0008,1195).</summary>
    public string TransactionUID { get; }

    /// <summary>The objects.</summary>
    public IReadOnlyList<ReferencedInstance> Instances { get; }

    /// <summary>Reads the action information of N-ACTION; null when it is none.</summary>
    public static CommitmentRequest? Read(DataSet actionInformation)
    {
        ArgumentNullException.ThrowIfNull(actionInformation);
        ReferencedInstance[] instances = [.. actionInformation.GetItems(Tags.ReferencedSOPSequence).Select(ReferencedInstance.Read).OfType<ReferencedInstance>()];
        try
        {
            return new CommitmentRequest(actionInformation.GetString(Tags.TransactionUID) ?? "", instances);
        }
        catch (ArgumentException)
        {
            return null;
        }
    }

    internal DataSet ToDataSet()
    {
        DataSet dataSet = new();
        dataSet.Set(Tags.TransactionUID, TransactionUID);
        dataSet.SetItems(Tags.ReferencedSOPSequence, Instances.Select(one => one.ToItem()));
        return dataSet;
    }
}
