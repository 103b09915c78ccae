using System.Buffers;
using CameraBridge.Dicom.UpperLayer;
using Xunit;

namespace CameraBridge.Tests.Dicom.UpperLayer;

/// <summary>
/// PDUs against bytes of others and against the layouts of PS3.8 section 9.3 and PS3.7 annex D.3.3 (edition 2019a; written down from memory
/// where no peer's bytes stand).
/// </summary>
public sealed class PduCodecTests
{
    // Captured on loopback from echoscu of dcmtk 3.6.7 (-aet GATEWAY -aec PEERSTORE):
    private const string DcmtkRequest =
        "01 00 000000cd" +                                                        // A-ASSOCIATE-RQ, 205 bytes follow
        "0001 0000" +                                                             // protocol version 1, reserved
        "5045455253544f524520202020202020 47415445574159202020202020202020" +     // "PEERSTORE", "GATEWAY", padded to 16
        "0000000000000000000000000000000000000000000000000000000000000000" +      // 32 reserved
        "10 00 0015 312e322e3834302e31303030382e332e312e312e31" +                 // application context 1.2.840.10008.3.1.1.1
        "20 00 002e 01 00 ff 00" +                                                // context 1; a reserved byte is FFH here
        "30 00 0011 312e322e3834302e31303030382e312e31" +                         // abstract syntax 1.2.840.10008.1.1
        "40 00 0011 312e322e3834302e31303030382e312e32" +                         // transfer syntax 1.2.840.10008.1.2
        "50 00 003a" +                                                            // user information
        "51 00 0004 00004000" +                                                   // maximum length 16384
        "52 00 001b 312e322e3237362e302e373233303031302e332e302e332e362e37" +     // 1.2.276.0.7230010.3.0.3.6.7
        "55 00 000f 4f464649535f44434d544b5f333637";                              // OFFIS_DCMTK_367

    // Captured on loopback from storescp of dcmtk 3.6.7, the answer to the above:
    private const string DcmtkAcceptance =
        "02 00 000000b8 0001 0000" +
        "5045455253544f524520202020202020 47415445574159202020202020202020" +
        "0000000000000000000000000000000000000000000000000000000000000000" +
        "10 00 0015 312e322e3834302e31303030382e332e312e312e31" +
        "21 00 0019 01 00 00 00" +                                                // context 1: acceptance
        "40 00 0011 312e322e3834302e31303030382e312e32" +                         // with transfer syntax 1.2.840.10008.1.2
        "50 00 003a 51 00 0004 00004000" +
        "52 00 001b 312e322e3237362e302e373233303031302e332e302e332e362e37" +
        "55 00 000f 4f464649535f44434d544b5f333637";

    [Fact]
    public void A_request_of_dcmtk_is_read()
    {
        AssociateRequestPdu request = Assert.IsType<AssociateRequestPdu>(Decode(Hex(DcmtkRequest)));

        Assert.Equal("PEERSTORE", request.CalledAETitle);
        Assert.Equal("GATEWAY", request.CallingAETitle);
        Assert.Equal("1.2.840.10008.3.1.1.1", request.ApplicationContext);
        RequestedContextItem context = Assert.Single(request.Contexts);
        Assert.Equal((1, "1.2.840.10008.1.1", "1.2.840.10008.1.2"), (context.Id, context.AbstractSyntaxUID, Assert.Single(context.TransferSyntaxUIDs)));
        Assert.Equal(16384u, request.User.MaximumLength);
        Assert.Equal("1.2.276.0.7230010.3.0.3.6.7", request.User.ImplementationClassUID);
        Assert.Equal("OFFIS_DCMTK_367", request.User.ImplementationVersionName);
        Assert.Null(request.User.Operations);
    }

    [Fact]
    public void A_request_is_written_as_dcmtk_writes_it_but_for_a_reserved_byte()
    {
        byte[] expected = Hex(DcmtkRequest);
        // The byte after the context ID's first reserved one: dcmtk sends FFH, the standard asks for 00H (PS3.8 Table 9-13).
        int reserved = 74 + 25 + 6;
        Assert.Equal(0xFF, expected[reserved]);
        expected[reserved] = 0;

        Assert.Equal(expected, PduCodec.Encode(Decode(Hex(DcmtkRequest))));
    }

    [Fact]
    public void An_acceptance_of_dcmtk_is_read_and_written_again()
    {
        AssociateAcceptPdu accept = Assert.IsType<AssociateAcceptPdu>(Decode(Hex(DcmtkAcceptance)));

        Assert.Equal(new ContextResultItem(1, ContextResult.Acceptance, "1.2.840.10008.1.2"), Assert.Single(accept.Contexts));
        Assert.Equal(Hex(DcmtkAcceptance), PduCodec.Encode(accept));
    }

    [Fact]
    public void Short_pdus_have_the_bytes_of_the_standard()
    {
        // PS3.8 Table 9-21: 03, reserved, length 4, reserved, result 1, source 1, reason 7 (called AE title not recognised).
        Assert.Equal(Hex("03 00 00000004 00 01 01 07"), PduCodec.Encode(new AssociateRejectPdu(RejectResult.Permanent, RejectSource.User, 7)));
        // Tables 9-24 and 9-25: 05 or 06, reserved, length 4, four reserved. Sent so by dcmtk 3.6.7, too.
        Assert.Equal(Hex("05 00 00000004 00000000"), PduCodec.Encode(new ReleaseRequestPdu()));
        Assert.Equal(Hex("06 00 00000004 00000000"), PduCodec.Encode(new ReleaseReplyPdu()));
        // Table 9-26: 07, reserved, length 4, two reserved, source 2 (provider), reason 2 (unexpected PDU).
        Assert.Equal(Hex("07 00 00000004 00 00 02 02"), PduCodec.Encode(new AbortPdu(AbortSource.Provider, AbortReason.UnexpectedPdu)));
    }

    [Theory]
    [InlineData("03 00 00000004 00 02 03 02")]
    [InlineData("05 00 00000004 00000000")]
    [InlineData("06 00 00000004 00000000")]
    [InlineData("07 00 00000004 00 00 00 00")]
    public void Short_pdus_are_read_and_written_again(string hex) => Assert.Equal(Hex(hex), PduCodec.Encode(Decode(Hex(hex))));

    [Fact]
    public void A_data_pdu_with_two_values_is_read()
    {
        // PS3.8 Table 9-22 and annex E.2: 04, length 6+2 and 6+3; value of 4 bytes: context 3, control 03H (command, last), AB CD;
        // value of 5 bytes: context 3, control 00H (data set, more follows), 01 02 03.
        byte[] bytes = Hex("04 00 00000011  00000004 03 03 ABCD  00000005 03 00 010203");

        DataPdu data = Assert.IsType<DataPdu>(Decode(bytes));

        Assert.Equal(2, data.Values.Count);
        Assert.Equal((3, true, true, "ABCD"), Flat(data.Values[0]));
        Assert.Equal((3, false, false, "010203"), Flat(data.Values[1]));
        Assert.Equal(bytes, PduCodec.Encode(data));
    }

    [Fact]
    public void All_user_information_is_read_and_written_again()
    {
        UserInformation user = new()
        {
            MaximumLength = 0,
            ImplementationClassUID = "1.2.3",
            ImplementationVersionName = "V1",
            Operations = new OperationsWindow(5, 3),
            Roles = [new RoleSelection("1.2.840.10008.1.20.1", ContextRoles.User | ContextRoles.Provider)],
            ExtendedNegotiations = [new ExtendedNegotiation("1.2.4", Hex("0102"))],
            CommonExtendedNegotiations = [new CommonExtendedNegotiation("1.2.5", "1.2.6", ["1.2.7", "1.2.8"])],
            Identity = new UserIdentity(2, true, Hex("41"), Hex("42")),
        };
        byte[] bytes = PduCodec.Encode(new AssociateRequestPdu("A", "B", [new RequestedContextItem(1, "1.1", ["1.2"])], user));

        // PS3.7 Table D.3-7: 53, reserved, length 4, invoked 5, performed 3.
        Assert.Contains("53000004" + "0005" + "0003", Convert.ToHexString(bytes), StringComparison.Ordinal);
        // PS3.7 Table D.3-9: 54, reserved, item length 24, UID length 20, UID, SCU role 1, SCP role 1.
        Assert.Contains("54000018" + "0014" + "312E322E3834302E31303030382E312E32302E31" + "01" + "01", Convert.ToHexString(bytes), StringComparison.Ordinal);
        // PS3.7 Table D.3-14: 58, reserved, length, type 2, reply wanted, length 1, "A", length 1, "B".
        Assert.Contains("58000008" + "02" + "01" + "0001" + "41" + "0001" + "42", Convert.ToHexString(bytes), StringComparison.Ordinal);
        Assert.Equal(bytes, PduCodec.Encode(Decode(bytes)));
    }

    [Fact]
    public void A_user_identity_does_not_show_its_secrets()
    {
        UserIdentity identity = new(2, true, "name"u8.ToArray(), "passcode"u8.ToArray());

        Assert.Equal("UserIdentity type 2", identity.ToString());
    }

    [Fact]
    public void Unknown_items_are_passed_over()
    {
        // An item 77H among the association's items and a sub-item 66H in the user information: "shall be ignored" (PS3.8 section 9.3.1).
        byte[] bytes = Hex(
            "01 00 00000061 0001 0000" + Repeat("41", 16) + Repeat("42", 16) + Repeat("00", 32) +
            "77 00 0003 010203" +
            "50 00 0012 66 00 0002 AAAA 51 00 0004 00001000 66 00 0000");

        AssociateRequestPdu request = Assert.IsType<AssociateRequestPdu>(Decode(bytes));

        Assert.Equal(4096u, request.User.MaximumLength);
    }

    [Theory]
    [InlineData("04 00 00000006  00000001 01 03", "shorter than its own head")]
    [InlineData("04 00 00000006  00000003 01 03", "longer than the PDU")]
    [InlineData("04 00 00000006  FFFFFFFF 01 03", "as long as can be said")]
    [InlineData("04 00 00000008  00000002 01 03 0000", "followed by a torn head")]
    public void A_data_value_with_an_impossible_length_is_refused(string hex, string what)
    {
        Assert.NotEmpty(what);
        Assert.Throws<MalformedPduException>(() => Decode(Hex(hex)));
    }

    [Theory]
    [InlineData(PduType.Data, 16384u, true)]
    [InlineData(PduType.Data, 16385u, false)]
    [InlineData(PduType.Data, 5u, false)]
    [InlineData(PduType.Data, uint.MaxValue, false)]
    [InlineData(PduType.AssociateRequest, 67u, false)]
    [InlineData(PduType.AssociateRequest, 68u, true)]
    [InlineData(PduType.AssociateRequest, 0x7FFFFFFFu, false)]
    [InlineData(PduType.Abort, 4u, true)]
    [InlineData(PduType.Abort, 0u, false)]
    [InlineData(PduType.ReleaseRequest, 1000000u, false)]
    [InlineData((PduType)0, 4u, false)]
    [InlineData((PduType)8, 4u, false)]
    [InlineData((PduType)255, 4u, false)]
    public void Lengths_are_judged_by_the_head_alone(PduType type, uint length, bool isRight)
    {
        Exception? thrown = Record.Exception(() => PduCodec.CheckHead(type, length, 16384));

        Assert.Equal(isRight, thrown is null);
    }

    [Fact]
    public void An_unknown_type_is_told_as_unrecognised()
    {
        MalformedPduException thrown = Assert.Throws<MalformedPduException>(() => PduCodec.CheckHead((PduType)9, 4, 16384));

        Assert.Equal(AbortReason.UnrecognizedPdu, thrown.Reason);
    }

    [Theory]
    [InlineData(2)]
    [InlineData(0)]
    public void Even_presentation_context_ids_are_refused(byte id)
    {
        byte[] bytes = PduCodec.Encode(new AssociateRequestPdu("A", "B", [new RequestedContextItem(id, "1.1", ["1.2"])], new UserInformation()));

        Assert.Throws<MalformedPduException>(() => Decode(bytes));
    }

    internal static Pdu Decode(byte[] bytes)
    {
        ReadOnlySequence<byte> sequence = new(bytes);
        Assert.True(PduCodec.TryReadHead(sequence, out PduType type, out uint length));
        Assert.Equal(bytes.Length - PduCodec.HeadLength, (int)length);
        return PduCodec.Decode(type, sequence.Slice(PduCodec.HeadLength));
    }

    internal static byte[] Hex(string text) => Convert.FromHexString(text.Replace(" ", "", StringComparison.Ordinal));

    private static string Repeat(string text, int times) => string.Concat(Enumerable.Repeat(text, times));

    private static (int Context, bool IsCommand, bool IsLast, string Bytes) Flat(PresentationDataValue value) =>
        (value.ContextId, value.IsCommand, value.IsLast, Convert.ToHexString(value.Fragment.ToArray()));
}
