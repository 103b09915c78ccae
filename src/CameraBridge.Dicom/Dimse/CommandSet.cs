using System.Buffers.Binary;
using System.Globalization;
using System.Text;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Dimse;

/// <summary>Values of Command Field (PS3.7 Annex E, Table E.1-1).</summary>
public enum CommandField : ushort
{
    /// <summary>No command.</summary>
    None = 0,

    /// <summary>C-STORE-RQ.</summary>
    StoreRequest = 0x0001,

    /// <summary>C-GET-RQ.</summary>
    GetRequest = 0x0010,

    /// <summary>C-FIND-RQ.</summary>
    FindRequest = 0x0020,

    /// <summary>C-MOVE-RQ.</summary>
    MoveRequest = 0x0021,

    /// <summary>C-ECHO-RQ.</summary>
    EchoRequest = 0x0030,

    /// <summary>N-EVENT-REPORT-RQ.</summary>
    EventReportRequest = 0x0100,

    /// <summary>N-GET-RQ.</summary>
    AttributesRequest = 0x0110,

    /// <summary>N-SET-RQ.</summary>
    SetRequest = 0x0120,

    /// <summary>N-ACTION-RQ.</summary>
    ActionRequest = 0x0130,

    /// <summary>N-CREATE-RQ.</summary>
    CreateRequest = 0x0140,

    /// <summary>N-DELETE-RQ.</summary>
    DeleteRequest = 0x0150,

    /// <summary>C-CANCEL-RQ.</summary>
    CancelRequest = 0x0FFF,

    /// <summary>The bit that makes a response of a request.</summary>
    ResponseBit = 0x8000,
}

/// <summary>
/// The command of a DIMSE message (PS3.7 section 6.3 and Annex E). Each property bears the keyword of its element; null or "" is an element
/// that is not there.
/// </summary>
/// <remarks>
/// A command set is always implicit VR little endian and knows no sequences, so it has a codec of its own: a page, without a look-up in any
/// dictionary, and with the limits of something that comes before anybody is trusted.
/// </remarks>
public sealed class CommandSet
{
    /// <summary>Longest command set that is read. Honest ones have a few hundred bytes; attribute lists may add some.</summary>
    public const int MaximumLength = 64 * 1024;

    /// <summary>The value of Command Data Set Type that means "no data set follows" (PS3.7 Annex E).</summary>
    public const ushort NoDataSet = 0x0101;

    private const int HeadLength = 8;

    private static readonly Tag
        GroupLengthTag = Command(0x0000), AffectedSOPClassUIDTag = Command(0x0002), RequestedSOPClassUIDTag = Command(0x0003),
        CommandFieldTag = Command(0x0100), MessageIDTag = Command(0x0110), MessageIDBeingRespondedToTag = Command(0x0120),
        MoveDestinationTag = Command(0x0600), PriorityTag = Command(0x0700), CommandDataSetTypeTag = Command(0x0800),
        StatusTag = Command(0x0900), OffendingElementTag = Command(0x0901), ErrorCommentTag = Command(0x0902), ErrorIDTag = Command(0x0903),
        AffectedSOPInstanceUIDTag = Command(0x1000), RequestedSOPInstanceUIDTag = Command(0x1001), EventTypeIDTag = Command(0x1002),
        AttributeIdentifierListTag = Command(0x1005), ActionTypeIDTag = Command(0x1008),
        MoveOriginatorApplicationEntityTitleTag = Command(0x1030), MoveOriginatorMessageIDTag = Command(0x1031);

    private readonly SortedDictionary<Tag, ReadOnlyMemory<byte>> values = [];

    /// <summary>(0000,0002).</summary>
    public string? AffectedSOPClassUID { get => Text(AffectedSOPClassUIDTag); set => Text(AffectedSOPClassUIDTag, value, '\0'); }

    /// <summary>(0000,0003).</summary>
    public string? RequestedSOPClassUID { get => Text(RequestedSOPClassUIDTag); set => Text(RequestedSOPClassUIDTag, value, '\0'); }

    /// <summary>(0000,0100).</summary>
    public CommandField CommandField
    {
        get => (CommandField)(Number(CommandFieldTag) ?? 0);
        set => Number(CommandFieldTag, (ushort)value);
    }

    /// <summary>(0000,0110).</summary>
    public ushort? MessageID { get => Number(MessageIDTag); set => Number(MessageIDTag, value); }

    /// <summary>(0000,0120).</summary>
    public ushort? MessageIDBeingRespondedTo { get => Number(MessageIDBeingRespondedToTag); set => Number(MessageIDBeingRespondedToTag, value); }

    /// <summary>(0000,0600).</summary>
    public string? MoveDestination { get => Text(MoveDestinationTag); set => Text(MoveDestinationTag, value, ' '); }

    /// <summary>(0000,0700): 0 medium, 1 high, 2 low.</summary>
    public ushort? Priority { get => Number(PriorityTag); set => Number(PriorityTag, value); }

    /// <summary>(0000,0800): <see cref="NoDataSet"/>, or anything else for a data set that follows.</summary>
    public ushort? CommandDataSetType { get => Number(CommandDataSetTypeTag); set => Number(CommandDataSetTypeTag, value); }

    /// <summary>(0000,0900); see <see cref="Statuses"/>.</summary>
    public ushort? Status { get => Number(StatusTag); set => Number(StatusTag, value); }

    /// <summary>(0000,0901): the elements that the peer objected to.</summary>
    public IReadOnlyList<Tag> OffendingElement { get => TagList(OffendingElementTag); set => TagList(OffendingElementTag, value); }

    /// <summary>(0000,0902): what the peer says of a failure, at most 64 characters. It may quote a patient: not for logs.</summary>
    public string? ErrorComment { get => Text(ErrorCommentTag); set => Text(ErrorCommentTag, Shorten(value), ' '); }

    /// <summary>(0000,0903).</summary>
    public ushort? ErrorID { get => Number(ErrorIDTag); set => Number(ErrorIDTag, value); }

    /// <summary>(0000,1000).</summary>
    public string? AffectedSOPInstanceUID { get => Text(AffectedSOPInstanceUIDTag); set => Text(AffectedSOPInstanceUIDTag, value, '\0'); }

    /// <summary>(0000,1001).</summary>
    public string? RequestedSOPInstanceUID { get => Text(RequestedSOPInstanceUIDTag); set => Text(RequestedSOPInstanceUIDTag, value, '\0'); }

    /// <summary>(0000,1002).</summary>
    public ushort? EventTypeID { get => Number(EventTypeIDTag); set => Number(EventTypeIDTag, value); }

    /// <summary>(0000,1005).</summary>
    public IReadOnlyList<Tag> AttributeIdentifierList { get => TagList(AttributeIdentifierListTag); set => TagList(AttributeIdentifierListTag, value); }

    /// <summary>(0000,1008).</summary>
    public ushort? ActionTypeID { get => Number(ActionTypeIDTag); set => Number(ActionTypeIDTag, value); }

    /// <summary>(0000,1030).</summary>
    public string? MoveOriginatorApplicationEntityTitle
    {
        get => Text(MoveOriginatorApplicationEntityTitleTag);
        set => Text(MoveOriginatorApplicationEntityTitleTag, value, ' ');
    }

    /// <summary>(0000,1031).</summary>
    public ushort? MoveOriginatorMessageID { get => Number(MoveOriginatorMessageIDTag); set => Number(MoveOriginatorMessageIDTag, value); }

    /// <summary>True for responses.</summary>
    public bool IsResponse => (CommandField & CommandField.ResponseBit) != 0;

    /// <summary>True when a data set follows. Without the element, which must be there, none is expected.</summary>
    public bool HasDataSet => (CommandDataSetType ?? NoDataSet) != NoDataSet;

    /// <summary>The response to a request, with what a response repeats of it (PS3.7 sections 9.3 and 10.3): class, instance, message, event or action type.</summary>
    public static CommandSet ResponseTo(CommandSet request, ushort status) => new()
    {
        AffectedSOPClassUID = request.AffectedSOPClassUID ?? request.RequestedSOPClassUID,
        CommandField = request.CommandField | CommandField.ResponseBit,
        MessageIDBeingRespondedTo = request.MessageID,
        CommandDataSetType = NoDataSet,
        Status = status,
        AffectedSOPInstanceUID = request.AffectedSOPInstanceUID ?? request.RequestedSOPInstanceUID,
        EventTypeID = request.EventTypeID,
        ActionTypeID = request.ActionTypeID,
    };

    /// <summary>Reads a command set.</summary>
    /// <exception cref="FormatException">An element does not fit, or is not of group 0000.</exception>
    public static CommandSet Decode(ReadOnlyMemory<byte> bytes)
    {
        CommandSet set = new();
        while (!bytes.IsEmpty)
        {
            if (bytes.Length < HeadLength)
            {
                throw new FormatException("a command set that ends within the head of an element");
            }

            ReadOnlySpan<byte> head = bytes.Span[..HeadLength];
            Tag tag = new(BinaryPrimitives.ReadUInt16LittleEndian(head), BinaryPrimitives.ReadUInt16LittleEndian(head[2..]));
            uint length = BinaryPrimitives.ReadUInt32LittleEndian(head[4..]);
            if (tag.Group != 0 || length > bytes.Length - HeadLength)
            {
                throw new FormatException(string.Create(
                    CultureInfo.InvariantCulture, $"a command set with the element {tag} of {length} bytes, where {bytes.Length - HeadLength} are left"));
            }

            if (tag != GroupLengthTag)
            {
                set.values[tag] = bytes.Slice(HeadLength, (int)length);
            }

            bytes = bytes[(HeadLength + (int)length)..];
        }

        return set;
    }

    /// <summary>Writes the command set, with Command Group Length (0000,0000) before it.</summary>
    public byte[] Encode()
    {
        int length = values.Sum(pair => HeadLength + pair.Value.Length);
        byte[] bytes = new byte[HeadLength + 4 + length];
        Span<byte> rest = bytes;
        WriteHead(ref rest, GroupLengthTag, 4);
        BinaryPrimitives.WriteUInt32LittleEndian(rest, (uint)length);
        rest = rest[4..];
        foreach ((Tag tag, ReadOnlyMemory<byte> value) in values)
        {
            WriteHead(ref rest, tag, value.Length);
            value.Span.CopyTo(rest);
            rest = rest[value.Length..];
        }

        return bytes;
    }

    private static Tag Command(ushort number) => new(0x0000, number);

    private static void WriteHead(ref Span<byte> target, Tag tag, int length)
    {
        BinaryPrimitives.WriteUInt16LittleEndian(target, tag.Group);
        BinaryPrimitives.WriteUInt16LittleEndian(target[2..], tag.Number);
        BinaryPrimitives.WriteUInt32LittleEndian(target[4..], (uint)length);
        target = target[HeadLength..];
    }

    // LO takes 64 characters.
    private static string? Shorten(string? text) => text is { Length: > 64 } ? text[..64] : text;

    private string? Text(Tag tag)
    {
        if (!values.TryGetValue(tag, out ReadOnlyMemory<byte> value))
        {
            return null;
        }

        // Control characters have no place in UI, AE and LO, and none in a log.
        string text = new([.. Encoding.Latin1.GetString(value.Span).Trim('\0', ' ').Select(one => char.IsControl(one) ? '?' : one)]);
        return text.Length == 0 ? null : text;
    }

    // Command sets are of the default repertoire (PS3.7 section 6.3); what is beyond it is shown as "?".
    private void Text(Tag tag, string? text, char padding)
    {
        if (string.IsNullOrEmpty(text))
        {
            values.Remove(tag);
            return;
        }

        values[tag] = Encoding.ASCII.GetBytes((text.Length & 1) == 0 ? text : text + padding);
    }

    private ushort? Number(Tag tag) =>
        values.TryGetValue(tag, out ReadOnlyMemory<byte> value) && value.Length >= 2
            ? BinaryPrimitives.ReadUInt16LittleEndian(value.Span)
            : null;

    private void Number(Tag tag, ushort? number)
    {
        if (number is not { } present)
        {
            values.Remove(tag);
            return;
        }

        byte[] bytes = new byte[2];
        BinaryPrimitives.WriteUInt16LittleEndian(bytes, present);
        values[tag] = bytes;
    }

    private List<Tag> TagList(Tag tag)
    {
        List<Tag> tags = [];
        ReadOnlySpan<byte> bytes = values.TryGetValue(tag, out ReadOnlyMemory<byte> value) ? value.Span : [];
        for (; bytes.Length >= 4; bytes = bytes[4..])
        {
            tags.Add(new Tag(BinaryPrimitives.ReadUInt16LittleEndian(bytes), BinaryPrimitives.ReadUInt16LittleEndian(bytes[2..])));
        }

        return tags;
    }

    private void TagList(Tag tag, IReadOnlyList<Tag> tags)
    {
        byte[] bytes = new byte[tags.Count * 4];
        for (int i = 0; i < tags.Count; i++)
        {
            BinaryPrimitives.WriteUInt16LittleEndian(bytes.AsSpan(4 * i), tags[i].Group);
            BinaryPrimitives.WriteUInt16LittleEndian(bytes.AsSpan((4 * i) + 2), tags[i].Number);
        }

        values[tag] = bytes;
    }
}
