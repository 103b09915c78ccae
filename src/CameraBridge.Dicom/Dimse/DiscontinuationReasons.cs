using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Dimse;

/// <summary>Why a performed procedure step was discontinued.</summary>
/// <param name="Value">Code Value.</param>
/// <param name="Scheme">Coding Scheme Designator.</param>
/// <param name="Meaning">Code Meaning.</param>
public sealed record DiscontinuationReason(string Value, string Scheme, string Meaning)
{
    internal DataSet ToItem()
    {
        DataSet item = new();
        item.Set(Tags.CodeValue, Value);
        item.Set(Tags.CodingSchemeDesignator, Scheme);
        item.Set(Tags.CodeMeaning, Meaning);
        return item;
    }
}

/// <summary>
/// The reasons a modality has for discontinuing a step, from discontinuation-reasons.tsv: those of CID 9300 that are also in CID 9301 (PS3.16).
/// </summary>
public static class DiscontinuationReasons
{
    private static readonly DiscontinuationReason[] Table = Load();

    /// <summary>All of them.</summary>
    public static IReadOnlyList<DiscontinuationReason> All => Table;

    /// <summary>"Discontinued for unspecified reason", for want of a better one.</summary>
    public static DiscontinuationReason Unspecified => Find("110513")!;

    /// <summary>"Incorrect worklist entry selected": the pictures turned out to belong to another order.</summary>
    public static DiscontinuationReason IncorrectWorklistEntry => Find("110514")!;

    /// <summary>"Equipment failure".</summary>
    public static DiscontinuationReason EquipmentFailure => Find("110501")!;

    /// <summary>The reason with this code of the scheme DCM or SCT; null when there is none.</summary>
    public static DiscontinuationReason? Find(string value) => Array.Find(Table, reason => reason.Value == value);

    private static DiscontinuationReason[] Load() =>
        [.. PerformedStepTable.Lines("discontinuation-reasons.tsv").Select(cells => new DiscontinuationReason(cells[0], cells[1], cells[2]))];
}
