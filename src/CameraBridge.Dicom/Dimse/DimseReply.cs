using System.Globalization;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Dimse;

/// <summary>What a peer answered to an operation.</summary>
/// <param name="Service">"C-ECHO", "C-FIND", "C-STORE", "N-ACTION" ...</param>
/// <param name="Status">Status (0000,0900).</param>
/// <param name="ErrorComment">Error Comment (0000,0902). It may quote a patient: not for logs.</param>
/// <param name="OffendingElement">Offending Element (0000,0901).</param>
public sealed record DimseReply(string Service, ushort Status, string? ErrorComment, IReadOnlyList<Tag> OffendingElement)
{
    /// <summary>Error ID (0000,0903), where the service defines one: A710 of a performed procedure step that has ended (PS3.4 section F.7.2.2).</summary>
    public ushort? ErrorID { get; init; }

    /// <summary>The row of the status table.</summary>
    public StatusEntry Meaning => Statuses.Find(Service, Status);

    /// <summary>True for success and for warnings: it was done.</summary>
    public bool IsDone => Meaning.Class is StatusClass.Success or StatusClass.Warning;

    /// <summary>"C-STORE A700: out of resources (0028,0010)". Without the Error Comment, so that it is fit for logs.</summary>
    public override string ToString()
    {
        string offending = OffendingElement.Count == 0 ? "" : " " + string.Join(' ', OffendingElement);
        return string.Create(CultureInfo.InvariantCulture, $"{Service} {Status:X4}: {Meaning.Meaning}{offending}");
    }

    internal static DimseReply Of(string service, CommandSet response) =>
        new(service, response.Status ?? Statuses.ProcessingFailure, response.ErrorComment, response.OffendingElement) { ErrorID = response.ErrorID };
}
