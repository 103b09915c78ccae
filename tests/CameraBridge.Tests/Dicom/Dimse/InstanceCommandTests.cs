using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>
/// Command sets of the services on instances (PS3.7 section 10.3) against bytes that were captured on the loopback from Orthanc 1.10.1 (dcmtk 3.6.7) and
/// npm's dcmjs-dimse 0.3.3. Each element: tag and length in little endian, no VR.
/// </summary>
public sealed class InstanceCommandTests
{
    private const string CommitmentClass = "312e322e3834302e31303030382e312e32302e31";               // 1.2.840.10008.1.20.1
    private const string CommitmentInstance = "312e322e3834302e31303030382e312e32302e312e31";         // 1.2.840.10008.1.20.1.1
    private const string StepClass = "312e322e3834302e31303030382e332e312e322e332e3300";              // 1.2.840.10008.3.1.2.3.3, one 00H of padding

    // 1.2.826.0.1.3680043.10.1999.77.1795618404962
    private const string StepInstance = "312e322e3832362e302e312e333638303034332e31302e313939392e37372e31373935363138343034393632";

    // dcmjs-dimse to Orthanc, PS3.7 Table 10.3-7.
    private const string ActionRequest =
        "0000 0000 04000000 62000000" +                                                  // Command Group Length 98
        "0000 0300 14000000" + CommitmentClass +                                         // Requested SOP Class UID
        "0000 0001 02000000 3001" +                                                      // Command Field 0130H, N-ACTION-RQ
        "0000 1001 02000000 0100" +                                                      // Message ID 1
        "0000 0008 02000000 0202" +                                                      // Command Data Set Type 0202H: one follows
        "0000 0110 16000000" + CommitmentInstance +                                      // Requested SOP Instance UID
        "0000 0810 02000000 0100";                                                       // Action Type ID 1: request storage commitment

    // Orthanc's answer; it leaves out Action Type ID.
    private const string ActionResponse =
        "0000 0000 04000000 62000000" +
        "0000 0200 14000000" + CommitmentClass +                                         // Affected SOP Class UID
        "0000 0001 02000000 3081" +                                                      // 8130H, N-ACTION-RSP
        "0000 2001 02000000 0100" +                                                      // Message ID Being Responded To 1
        "0000 0008 02000000 0101" +                                                      // Command Data Set Type 0101H: none
        "0000 0009 02000000 0000" +                                                      // Status 0000H
        "0000 0010 16000000" + CommitmentInstance;                                       // Affected SOP Instance UID

    // Orthanc, in an association of its own, PS3.7 Table 10.3-1.
    private const string ReportRequest =
        "0000 0000 04000000 62000000" +
        "0000 0200 14000000" + CommitmentClass +
        "0000 0001 02000000 0001" +                                                      // 0100H, N-EVENT-REPORT-RQ
        "0000 1001 02000000 0100" +
        "0000 0008 02000000 0100" +                                                      // 0001H: a data set follows
        "0000 0010 16000000" + CommitmentInstance +
        "0000 0210 02000000 0200";                                                       // Event Type ID 2: failures exist

    // dcmjs-dimse's answer to it, PS3.7 Table 10.3-2.
    private const string ReportResponse =
        "0000 0000 04000000 6c000000" +
        "0000 0200 14000000" + CommitmentClass +
        "0000 0001 02000000 0081" +                                                      // 8100H, N-EVENT-REPORT-RSP
        "0000 2001 02000000 0100" +
        "0000 0008 02000000 0101" +
        "0000 0009 02000000 0000" +
        "0000 0010 16000000" + CommitmentInstance +
        "0000 0210 02000000 0200";                                                       // Event Type ID 2, repeated

    // dcmjs-dimse asking and answering itself, PS3.7 Tables 10.3-9 and 10.3-10, then 10.3-5 and 10.3-6.
    private const string CreateRequest =
        "0000 0000 04000000 72000000" +
        "0000 0200 18000000" + StepClass +
        "0000 0001 02000000 4001" +                                                      // 0140H, N-CREATE-RQ
        "0000 1001 02000000 0100" +
        "0000 0008 02000000 0202" +
        "0000 0010 2c000000" + StepInstance;                                             // Affected SOP Instance UID

    private const string CreateResponse =
        "0000 0000 04000000 7c000000" +
        "0000 0200 18000000" + StepClass +
        "0000 0001 02000000 4081" +                                                      // 8140H, N-CREATE-RSP
        "0000 2001 02000000 0100" +
        "0000 0008 02000000 0101" +
        "0000 0009 02000000 0000" +
        "0000 0010 2c000000" + StepInstance;

    private const string SetRequest =
        "0000 0000 04000000 72000000" +
        "0000 0300 18000000" + StepClass +                                               // Requested SOP Class UID
        "0000 0001 02000000 2001" +                                                      // 0120H, N-SET-RQ
        "0000 1001 02000000 0300" +                                                      // Message ID 3
        "0000 0008 02000000 0202" +
        "0000 0110 2c000000" + StepInstance;                                             // Requested SOP Instance UID

    private const string SetResponse =
        "0000 0000 04000000 7c000000" +
        "0000 0200 18000000" + StepClass +                                               // Affected SOP Class UID
        "0000 0001 02000000 2081" +                                                      // 8120H, N-SET-RSP
        "0000 2001 02000000 0300" +
        "0000 0008 02000000 0101" +
        "0000 0009 02000000 1001" +                                                      // Status 0110H: may no longer be updated
        "0000 0010 2c000000" + StepInstance;                                             // Affected SOP Instance UID

    [Fact]
    public void A_request_for_commitment_has_the_bytes_that_npms_client_sends() => Assert.Equal(Hex(ActionRequest), new CommandSet
    {
        CommandField = CommandField.ActionRequest,
        MessageID = 1,
        RequestedSOPClassUID = SopClasses.StorageCommitmentPushModel,
        RequestedSOPInstanceUID = SopClasses.StorageCommitmentPushModelInstance,
        ActionTypeID = 1,
        CommandDataSetType = 0x0202,
    }.Encode());

    [Fact]
    public void Orthancs_answer_to_it_is_read()
    {
        CommandSet response = CommandSet.Decode(Hex(ActionResponse));

        Assert.Equal(((CommandField)0x8130, (ushort?)0, (ushort?)1), (response.CommandField, response.Status, response.MessageIDBeingRespondedTo));
        Assert.Equal(SopClasses.StorageCommitmentPushModelInstance, response.AffectedSOPInstanceUID);
        Assert.Null(response.ActionTypeID);
        Assert.False(response.HasDataSet);
    }

    [Fact]
    public void A_report_has_the_bytes_that_orthanc_sends() => Assert.Equal(Hex(ReportRequest), new CommandSet
    {
        CommandField = CommandField.EventReportRequest,
        MessageID = 1,
        AffectedSOPClassUID = SopClasses.StorageCommitmentPushModel,
        AffectedSOPInstanceUID = SopClasses.StorageCommitmentPushModelInstance,
        EventTypeID = 2,
        CommandDataSetType = 1,
    }.Encode());

    [Theory]
    [InlineData(ReportRequest, 0x0000, ReportResponse)]
    [InlineData(CreateRequest, 0x0000, CreateResponse)]
    [InlineData(SetRequest, 0x0110, SetResponse)]
    public void An_answer_has_the_bytes_that_npms_provider_gives(string request, int status, string response) =>
        Assert.Equal(Hex(response), CommandSet.ResponseTo(CommandSet.Decode(Hex(request)), (ushort)status).Encode());

    // PS3.7 Table 10.3-8 has Action Type ID in the answer.
    [Fact]
    public void The_answer_to_an_action_repeats_its_type() =>
        Assert.Equal((ushort?)1, CommandSet.ResponseTo(CommandSet.Decode(Hex(ActionRequest)), 0).ActionTypeID);

    private static byte[] Hex(string text) => Convert.FromHexString(text.Replace(" ", "", StringComparison.Ordinal));
}
