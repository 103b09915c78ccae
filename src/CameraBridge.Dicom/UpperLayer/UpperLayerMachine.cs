using System.Collections.Frozen;
using System.Globalization;

namespace CameraBridge.Dicom.UpperLayer;

/// <summary>States of the upper layer (PS3.8 Tables 9-1 to 9-5).</summary>
public enum UpperLayerState
{
    /// <summary>Idle.</summary>
    Sta1 = 1,

    /// <summary>Transport connection open, awaiting A-ASSOCIATE-RQ.</summary>
    Sta2,

    /// <summary>Awaiting the local A-ASSOCIATE response.</summary>
    Sta3,

    /// <summary>Awaiting the transport connection.</summary>
    Sta4,

    /// <summary>Awaiting A-ASSOCIATE-AC or -RJ.</summary>
    Sta5,

    /// <summary>Association established, ready for data.</summary>
    Sta6,

    /// <summary>Awaiting A-RELEASE-RP.</summary>
    Sta7,

    /// <summary>Awaiting the local A-RELEASE response.</summary>
    Sta8,

    /// <summary>Release collision, requestor: awaiting the local A-RELEASE response.</summary>
    Sta9,

    /// <summary>Release collision, acceptor: awaiting A-RELEASE-RP.</summary>
    Sta10,

    /// <summary>Release collision, requestor: awaiting A-RELEASE-RP.</summary>
    Sta11,

    /// <summary>Release collision, acceptor: awaiting the local A-RELEASE response.</summary>
    Sta12,

    /// <summary>Awaiting the close of the transport connection.</summary>
    Sta13,
}

/// <summary>Events of the upper layer, the rows of PS3.8 Table 9-10.</summary>
public enum UpperLayerEvent
{
    /// <summary>Evt1: A-ASSOCIATE request of the local user.</summary>
    AssociateRequest = 1,

    /// <summary>Evt2: transport connection confirmed.</summary>
    TransportConfirmed,

    /// <summary>Evt3: A-ASSOCIATE-AC received.</summary>
    AcceptReceived,

    /// <summary>Evt4: A-ASSOCIATE-RJ received.</summary>
    RejectReceived,

    /// <summary>Evt5: transport connection indicated.</summary>
    TransportIndicated,

    /// <summary>Evt6: A-ASSOCIATE-RQ received.</summary>
    AssociateRequestReceived,

    /// <summary>Evt7: A-ASSOCIATE response, accept.</summary>
    AssociateAccept,

    /// <summary>Evt8: A-ASSOCIATE response, reject.</summary>
    AssociateReject,

    /// <summary>Evt9: P-DATA request of the local user.</summary>
    DataRequest,

    /// <summary>Evt10: P-DATA-TF received.</summary>
    DataReceived,

    /// <summary>Evt11: A-RELEASE request of the local user.</summary>
    ReleaseRequest,

    /// <summary>Evt12: A-RELEASE-RQ received.</summary>
    ReleaseRequestReceived,

    /// <summary>Evt13: A-RELEASE-RP received.</summary>
    ReleaseReplyReceived,

    /// <summary>Evt14: A-RELEASE response of the local user.</summary>
    ReleaseResponse,

    /// <summary>Evt15: A-ABORT request of the local user.</summary>
    AbortRequest,

    /// <summary>Evt16: A-ABORT received.</summary>
    AbortReceived,

    /// <summary>Evt17: transport connection closed.</summary>
    TransportClosed,

    /// <summary>Evt18: ARTIM timer expired.</summary>
    ArtimExpired,

    /// <summary>Evt19: unrecognised or invalid PDU received.</summary>
    InvalidPduReceived,
}

/// <summary>The things that an action of PS3.8 Tables 9-6 to 9-9 consists of. They are done in the order in which they stand.</summary>
public enum UpperLayerStep
{
    /// <summary>Open the transport connection.</summary>
    Connect,

    /// <summary>Close the transport connection.</summary>
    Close,

    /// <summary>Send A-ASSOCIATE-RQ.</summary>
    SendAssociateRequest,

    /// <summary>Send A-ASSOCIATE-AC.</summary>
    SendAccept,

    /// <summary>Send A-ASSOCIATE-RJ.</summary>
    SendReject,

    /// <summary>Send P-DATA-TF.</summary>
    SendData,

    /// <summary>Send A-RELEASE-RQ.</summary>
    SendReleaseRequest,

    /// <summary>Send A-RELEASE-RP.</summary>
    SendReleaseReply,

    /// <summary>Send A-ABORT, source: the service user.</summary>
    SendUserAbort,

    /// <summary>Send A-ABORT, source: the service provider.</summary>
    SendProviderAbort,

    /// <summary>Tell the local user of a request for an association.</summary>
    IndicateAssociate,

    /// <summary>Tell the local user that the association stands.</summary>
    ConfirmAccept,

    /// <summary>Tell the local user that it was rejected.</summary>
    ConfirmReject,

    /// <summary>Hand received data to the local user.</summary>
    IndicateData,

    /// <summary>Tell the local user that the peer wants to release.</summary>
    IndicateRelease,

    /// <summary>Tell the local user that the release is done.</summary>
    ConfirmRelease,

    /// <summary>Tell the local user that the peer aborted.</summary>
    IndicateAbort,

    /// <summary>Tell the local user that the protocol layer gave up.</summary>
    IndicateProviderAbort,

    /// <summary>Start the ARTIM timer, or start it again.</summary>
    StartArtim,

    /// <summary>Stop the ARTIM timer.</summary>
    StopArtim,
}

/// <summary>What follows from an event in a state.</summary>
/// <param name="Next">The next state.</param>
/// <param name="Action">Name of the action, such as "AE-1".</param>
/// <param name="Steps">What is to be done, in order.</param>
public sealed record UpperLayerTransition(UpperLayerState Next, string Action, IReadOnlyList<UpperLayerStep> Steps);

/// <summary>
/// The upper layer protocol machine of PS3.8 section 9.2 as a pure function. The table is data (upper-layer.tsv beside this file), what an
/// action consists of is <see cref="StepsOf"/>; neither knows a socket.
/// </summary>
public static class UpperLayerMachine
{
    /// <summary>Number of states.</summary>
    public const int States = 13;

    /// <summary>Number of events.</summary>
    public const int Events = 19;

    // Tables 9-6 to 9-9. AE-6 has its second half under a name of its own.
    private static readonly FrozenDictionary<string, UpperLayerStep[]> Actions = new Dictionary<string, UpperLayerStep[]>
    {
        ["AE-1"] = [UpperLayerStep.Connect],
        ["AE-2"] = [UpperLayerStep.SendAssociateRequest],
        ["AE-3"] = [UpperLayerStep.ConfirmAccept],
        ["AE-4"] = [UpperLayerStep.ConfirmReject, UpperLayerStep.Close],
        ["AE-5"] = [UpperLayerStep.StartArtim],
        ["AE-6"] = [UpperLayerStep.StopArtim, UpperLayerStep.IndicateAssociate],
        ["AE-6 otherwise"] = [UpperLayerStep.StopArtim, UpperLayerStep.SendReject, UpperLayerStep.StartArtim],
        ["AE-7"] = [UpperLayerStep.SendAccept],
        ["AE-8"] = [UpperLayerStep.SendReject, UpperLayerStep.StartArtim],
        ["DT-1"] = [UpperLayerStep.SendData],
        ["DT-2"] = [UpperLayerStep.IndicateData],
        ["AR-1"] = [UpperLayerStep.SendReleaseRequest],
        ["AR-2"] = [UpperLayerStep.IndicateRelease],
        ["AR-3"] = [UpperLayerStep.ConfirmRelease, UpperLayerStep.Close],
        ["AR-4"] = [UpperLayerStep.SendReleaseReply, UpperLayerStep.StartArtim],
        ["AR-5"] = [UpperLayerStep.StopArtim],
        ["AR-6"] = [UpperLayerStep.IndicateData],
        ["AR-7"] = [UpperLayerStep.SendData],
        ["AR-8"] = [UpperLayerStep.IndicateRelease],
        ["AR-9"] = [UpperLayerStep.SendReleaseReply],
        ["AR-10"] = [UpperLayerStep.ConfirmRelease],
        ["AA-1"] = [UpperLayerStep.SendUserAbort, UpperLayerStep.StartArtim],
        ["AA-2"] = [UpperLayerStep.StopArtim, UpperLayerStep.Close],
        ["AA-3"] = [UpperLayerStep.IndicateAbort, UpperLayerStep.Close],
        ["AA-4"] = [UpperLayerStep.IndicateProviderAbort],
        ["AA-5"] = [UpperLayerStep.StopArtim],
        ["AA-6"] = [],
        ["AA-7"] = [UpperLayerStep.SendProviderAbort],
        ["AA-8"] = [UpperLayerStep.SendProviderAbort, UpperLayerStep.IndicateProviderAbort, UpperLayerStep.StartArtim],
    }.ToFrozenDictionary();

    private static readonly (UpperLayerTransition First, UpperLayerTransition Second)?[] Table = Load();

    /// <summary>The steps of an action.</summary>
    public static IReadOnlyList<UpperLayerStep> StepsOf(string action) => Actions[action];

    /// <summary>What follows from an event in a state.</summary>
    /// <param name="state">State.</param>
    /// <param name="event">Event.</param>
    /// <param name="otherwise">
    /// Where the table has two next states: false for the first (AE-6: the request is acceptable; AR-8: this side requested the
    /// association), true for the second.
    /// </param>
    /// <exception cref="InvalidOperationException">The table has no such cell: a fault of the local user, never of the peer.</exception>
    public static UpperLayerTransition Next(UpperLayerState state, UpperLayerEvent @event, bool otherwise = false)
    {
        (UpperLayerTransition First, UpperLayerTransition Second) cell = Table[Index(state, @event)]
            ?? throw new InvalidOperationException($"{@event} has no place in {state} of the upper layer.");
        return otherwise ? cell.Second : cell.First;
    }

    /// <summary>True when the table has a cell for the event in the state.</summary>
    public static bool CanHappen(UpperLayerState state, UpperLayerEvent @event) => Table[Index(state, @event)] is not null;

    private static int Index(UpperLayerState state, UpperLayerEvent @event) => (((int)@event - 1) * States) + (int)state - 1;

    private static (UpperLayerTransition First, UpperLayerTransition Second)?[] Load()
    {
        using Stream stream = typeof(UpperLayerMachine).Assembly.GetManifestResourceStream("CameraBridge.Dicom.UpperLayer.upper-layer.tsv")
            ?? throw new InvalidOperationException("upper-layer.tsv is missing from the library.");
        using StreamReader reader = new(stream);
        (UpperLayerTransition, UpperLayerTransition)?[] table = new (UpperLayerTransition, UpperLayerTransition)?[States * Events];
        while (reader.ReadLine() is { } line)
        {
            if (!line.StartsWith("Evt", StringComparison.Ordinal))
            {
                continue;
            }

            string[] cells = line.Split('\t');
            UpperLayerEvent @event = (UpperLayerEvent)int.Parse(cells[0].AsSpan(3), CultureInfo.InvariantCulture);
            for (int state = 1; state <= States; state++)
            {
                table[Index((UpperLayerState)state, @event)] = Cell(cells[state + 1]);
            }
        }

        return table;
    }

    private static (UpperLayerTransition, UpperLayerTransition)? Cell(string text)
    {
        if (text == "-")
        {
            return null;
        }

        string[] parts = text.Split(' ');
        string[] next = parts[1].Split('|');
        UpperLayerTransition first = new(Enum.Parse<UpperLayerState>(next[0]), parts[0], Actions[parts[0]]);
        string otherwise = parts[0] + " otherwise";
        return (first, first with
        {
            Next = Enum.Parse<UpperLayerState>(next[^1]),
            Steps = Actions.TryGetValue(otherwise, out UpperLayerStep[]? steps) ? steps : first.Steps,
        });
    }
}
