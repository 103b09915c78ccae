using System.Buffers;
using System.Buffers.Binary;
using System.Globalization;

namespace CameraBridge.Dicom.UpperLayer;

/// <summary>
/// PDUs to bytes and back (PS3.8 section 9.3, PS3.7 annex D.3.3). Pure: no stream, no clock. Unknown items are passed over, as the standard
/// asks; lengths are checked before anything is taken.
/// </summary>
public static partial class PduCodec
{
    /// <summary>Bytes before the content of every PDU: type, reserved, 32-bit length.</summary>
    public const int HeadLength = 6;

    /// <summary>Bytes before the fragment of a presentation data value: 32-bit length, context ID, message control header.</summary>
    public const int ValueHeadLength = 6;

    /// <summary>
    /// Longest A-ASSOCIATE-RQ or -AC that is read. 128 contexts with twenty transfer syntaxes each take about 100 KiB; more than this is no
    /// honest request.
    /// </summary>
    public const int MaximumAssociateLength = 512 * 1024;

    private const int ShortLength = 4;

    /// <summary>Reads the head of a PDU.</summary>
    /// <param name="buffer">Bytes that begin with a PDU.</param>
    /// <param name="type">Type as it stands there, known or not.</param>
    /// <param name="length">Length of the content that follows the head.</param>
    /// <returns>False when the head is not complete yet.</returns>
    public static bool TryReadHead(in ReadOnlySequence<byte> buffer, out PduType type, out uint length)
    {
        type = default;
        length = 0;
        if (buffer.Length < HeadLength)
        {
            return false;
        }

        Span<byte> head = stackalloc byte[HeadLength];
        buffer.Slice(0, HeadLength).CopyTo(head);
        type = (PduType)head[0];
        length = BinaryPrimitives.ReadUInt32BigEndian(head[2..]);
        return true;
    }

    /// <summary>Judges a head before its content is waited for.</summary>
    /// <param name="type">Type.</param>
    /// <param name="length">Length of the content.</param>
    /// <param name="maximumDataLength">Longest P-DATA-TF that was announced to the peer.</param>
    /// <exception cref="MalformedPduException">The type is not known, or its content may not be that long.</exception>
    public static void CheckHead(PduType type, uint length, int maximumDataLength)
    {
        (int least, int most) = type switch
        {
            PduType.AssociateRequest or PduType.AssociateAccept => (AssociateFixedLength, MaximumAssociateLength),
            PduType.Data => (ValueHeadLength, maximumDataLength),
            PduType.AssociateReject or PduType.ReleaseRequest or PduType.ReleaseReply or PduType.Abort => (ShortLength, ShortLength),
            _ => throw new MalformedPduException(
                string.Create(CultureInfo.InvariantCulture, $"a PDU of the unknown type {(byte)type:X2}H"), AbortReason.UnrecognizedPdu),
        };
        if (length < least || length > most)
        {
            throw new MalformedPduException(string.Create(
                CultureInfo.InvariantCulture, $"{Name(type)} with {length} bytes, where {least} to {most} are allowed"));
        }
    }

    /// <summary>Decodes the content of a PDU. The fragments of a P-DATA-TF stay in the buffer.</summary>
    /// <exception cref="MalformedPduException">The content is not what the type asks for.</exception>
    public static Pdu Decode(PduType type, in ReadOnlySequence<byte> content)
    {
        switch (type)
        {
            case PduType.Data:
                return new DataPdu(DecodeValues(content));
            case PduType.ReleaseRequest:
                return new ReleaseRequestPdu();
            case PduType.ReleaseReply:
                return new ReleaseReplyPdu();
            case PduType.AssociateRequest:
            case PduType.AssociateAccept:
                return DecodeAssociate(type, content.IsSingleSegment ? content.FirstSpan : content.ToArray());
            case PduType.AssociateReject:
            case PduType.Abort:
                Span<byte> four = stackalloc byte[ShortLength];
                if (content.Length != ShortLength)
                {
                    throw new MalformedPduException($"{Name(type)} whose content is not four bytes");
                }

                content.CopyTo(four);
                return type == PduType.Abort
                    ? new AbortPdu((AbortSource)four[2], (AbortReason)four[3])
                    : new AssociateRejectPdu((RejectResult)four[1], (RejectSource)four[2], four[3]);
            default:
                throw new MalformedPduException(
                    string.Create(CultureInfo.InvariantCulture, $"a PDU of the unknown type {(byte)type:X2}H"), AbortReason.UnrecognizedPdu);
        }
    }

    /// <summary>Encodes a PDU, head included.</summary>
    /// <exception cref="ArgumentException">An item would be longer than its length field can say.</exception>
    public static byte[] Encode(Pdu pdu)
    {
        ArgumentNullException.ThrowIfNull(pdu);
        PduWriter writer = new();
        writer.Byte((byte)pdu.Type);
        writer.Zeros(HeadLength - 1);
        switch (pdu)
        {
            case AssociateRequestPdu request:
                EncodeRequest(writer, request);
                break;
            case AssociateAcceptPdu accept:
                EncodeAccept(writer, accept);
                break;
            case AssociateRejectPdu reject:
                writer.Bytes([0, (byte)reject.Result, (byte)reject.Source, reject.Reason]);
                break;
            case AbortPdu abort:
                writer.Bytes([0, 0, (byte)abort.Source, (byte)abort.Reason]);
                break;
            case DataPdu data:
                EncodeValues(writer, data);
                break;
            default:
                writer.Zeros(ShortLength);
                break;
        }

        return writer.ToPdu();
    }

    /// <summary>
    /// Writes the twelve bytes that stand before a fragment when it is the only value of its P-DATA-TF: the PDU's head and the value's.
    /// </summary>
    internal static void WriteDataHead(Span<byte> target, byte contextId, bool isCommand, bool isLast, int fragmentLength)
    {
        target[0] = (byte)PduType.Data;
        target[1] = 0;
        BinaryPrimitives.WriteUInt32BigEndian(target[2..], (uint)(fragmentLength + ValueHeadLength));
        BinaryPrimitives.WriteUInt32BigEndian(target[6..], (uint)(fragmentLength + 2));
        target[10] = contextId;
        target[11] = Control(isCommand, isLast);
    }

    /// <exception cref="ArgumentOutOfRangeException">A limit of ours for P-DATA-TF is not 4 KiB to 16 MiB.</exception>
    internal static void CheckDataLimit(int length, string parameter)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(length, 4 * 1024, parameter);
        ArgumentOutOfRangeException.ThrowIfGreaterThan(length, 16 * 1024 * 1024, parameter);
    }

    /// <summary>The standard's name of a PDU type.</summary>
    internal static string Name(PduType type) => type switch
    {
        PduType.AssociateRequest => "an A-ASSOCIATE-RQ",
        PduType.AssociateAccept => "an A-ASSOCIATE-AC",
        PduType.AssociateReject => "an A-ASSOCIATE-RJ",
        PduType.Data => "a P-DATA-TF",
        PduType.ReleaseRequest => "an A-RELEASE-RQ",
        PduType.ReleaseReply => "an A-RELEASE-RP",
        PduType.Abort => "an A-ABORT",
        _ => "a PDU of an unknown type",
    };

    private static List<PresentationDataValue> DecodeValues(ReadOnlySequence<byte> content)
    {
        List<PresentationDataValue> values = new(1);
        Span<byte> head = stackalloc byte[ValueHeadLength];
        while (!content.IsEmpty)
        {
            if (content.Length < ValueHeadLength)
            {
                throw new MalformedPduException("a P-DATA-TF that ends within the head of a presentation data value");
            }

            content.Slice(0, ValueHeadLength).CopyTo(head);
            uint length = BinaryPrimitives.ReadUInt32BigEndian(head);
            if (length < 2 || length - 2 > content.Length - ValueHeadLength)
            {
                throw new MalformedPduException(string.Create(
                    CultureInfo.InvariantCulture,
                    $"a presentation data value of {length} bytes in a P-DATA-TF that has {content.Length - 4} left for it"));
            }

            values.Add(new PresentationDataValue(
                head[4], (head[5] & 1) != 0, (head[5] & 2) != 0, content.Slice(ValueHeadLength, length - 2)));
            content = content.Slice(length + 4);
        }

        return values;
    }

    private static void EncodeValues(PduWriter writer, DataPdu data)
    {
        foreach (PresentationDataValue value in data.Values)
        {
            writer.UInt32((uint)value.Fragment.Length + 2);
            writer.Byte(value.ContextId);
            writer.Byte(Control(value.IsCommand, value.IsLast));
            foreach (ReadOnlyMemory<byte> segment in value.Fragment)
            {
                writer.Bytes(segment.Span);
            }
        }
    }

    // Message control header, PS3.8 annex E.2: bit 0 command, bit 1 last fragment.
    private static byte Control(bool isCommand, bool isLast) => (byte)((isCommand ? 1 : 0) | (isLast ? 2 : 0));
}
