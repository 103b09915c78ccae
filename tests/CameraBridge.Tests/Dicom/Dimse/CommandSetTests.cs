using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>Command sets against bytes of dcmtk and the tables of PS3.7 sections 9.3 and Annex E.</summary>
public sealed class CommandSetTests
{
    // Captured on loopback from echoscu of dcmtk 3.6.7. Each element: tag and length in little endian, no VR.
    private const string DcmtkEchoRequest =
        "0000 0000 04000000 38000000" +                                                  // Command Group Length 56
        "0000 0200 12000000 312e322e3834302e31303030382e312e3100" +                      // Affected SOP Class UID, one 00H of padding
        "0000 0001 02000000 3000" +                                                      // Command Field 0030H, C-ECHO-RQ
        "0000 1001 02000000 0100" +                                                      // Message ID 1
        "0000 0008 02000000 0101";                                                       // Command Data Set Type 0101H: none

    // Captured on loopback from storescp of dcmtk 3.6.7.
    private const string DcmtkEchoResponse =
        "0000 0000 04000000 42000000" +
        "0000 0200 12000000 312e322e3834302e31303030382e312e3100" +
        "0000 0001 02000000 3080" +                                                      // 8030H, C-ECHO-RSP
        "0000 2001 02000000 0100" +                                                      // Message ID Being Responded To 1
        "0000 0008 02000000 0101" +
        "0000 0009 02000000 0000";                                                       // Status 0000H

    [Fact]
    public void An_echo_request_has_the_bytes_that_dcmtk_sends()
    {
        CommandSet command = new()
        {
            CommandField = CommandField.EchoRequest,
            MessageID = 1,
            AffectedSOPClassUID = SopClasses.Verification,
            CommandDataSetType = CommandSet.NoDataSet,
        };

        Assert.Equal(Hex(DcmtkEchoRequest), command.Encode());
    }

    [Fact]
    public void An_echo_response_of_dcmtk_is_read()
    {
        CommandSet command = CommandSet.Decode(Hex(DcmtkEchoResponse));

        Assert.Equal((CommandField)0x8030, command.CommandField);
        Assert.True(command.IsResponse);
        Assert.False(command.HasDataSet);
        Assert.Equal((ushort)1, command.MessageIDBeingRespondedTo);
        Assert.Equal((ushort)0, command.Status);
        Assert.Equal("1.2.840.10008.1.1", command.AffectedSOPClassUID);
        Assert.Null(command.MessageID);
    }

    [Fact]
    public void The_response_to_dcmtks_request_has_the_bytes_of_dcmtks_response()
    {
        CommandSet request = CommandSet.Decode(Hex(DcmtkEchoRequest));

        Assert.Equal(Hex(DcmtkEchoResponse), CommandSet.ResponseTo(request, 0).Encode());
    }

    [Fact]
    public void Failures_keep_what_the_peer_said_of_them()
    {
        CommandSet command = new() { Status = 0xA900, ErrorComment = "odd", OffendingElement = [new Tag(0x0028, 0x0010), new Tag(0x0008, 0x0018)] };

        CommandSet read = CommandSet.Decode(command.Encode());

        Assert.Equal("odd", read.ErrorComment);
        Assert.Equal([new Tag(0x0028, 0x0010), new Tag(0x0008, 0x0018)], read.OffendingElement);
    }

    [Fact]
    public void An_error_comment_is_cut_to_the_64_characters_of_its_vr()
    {
        CommandSet command = new() { ErrorComment = new string('x', 65) };

        Assert.Equal(new string('x', 64), command.ErrorComment);
    }

    [Theory]
    [InlineData("0000 0001 02000000 30")]
    [InlineData("0000 0001 FFFFFFFF")]
    [InlineData("0000 0001 0200")]
    [InlineData("0800 0500 00000000")]
    public void Torn_and_foreign_elements_are_refused(string hex) => Assert.Throws<FormatException>(() => CommandSet.Decode(Hex(hex)));

    [Fact]
    public void An_element_of_the_wrong_length_is_as_good_as_not_there()
    {
        // Status with one byte.
        Assert.Null(CommandSet.Decode(Hex("0000 0009 01000000 00")).Status);
    }

    private static byte[] Hex(string text) => Convert.FromHexString(text.Replace(" ", "", StringComparison.Ordinal));
}
