using CameraBridge.Dicom.UpperLayer;
using Xunit;

namespace CameraBridge.Tests.Dicom.UpperLayer;

/// <summary>
/// The machine, laid beside PS3.8 Table 9-10: all 19 events in all 13 states. Written down by row from memory and compared with the table in
/// pynetdicom's fsm.py, an independent implementation; next states and steps are those of Tables 9-6 to 9-9 (section 9.2.2, edition 2019a).
/// </summary>
public sealed class UpperLayerMachineTests
{
    private const string Surprise = "2:AA-1 3:AA-8 5:AA-8 6:AA-8 7:AA-8 8:AA-8 9:AA-8 10:AA-8 11:AA-8 12:AA-8 13:AA-6";

    // Event -> "state:action", everything that is not there cannot happen.
    private static readonly Dictionary<UpperLayerEvent, string> Table = new()
    {
        [UpperLayerEvent.AssociateRequest] = "1:AE-1",
        [UpperLayerEvent.TransportConfirmed] = "4:AE-2",
        [UpperLayerEvent.AcceptReceived] = Surprise.Replace("5:AA-8", "5:AE-3", StringComparison.Ordinal),
        [UpperLayerEvent.RejectReceived] = Surprise.Replace("5:AA-8", "5:AE-4", StringComparison.Ordinal),
        [UpperLayerEvent.TransportIndicated] = "1:AE-5",
        [UpperLayerEvent.AssociateRequestReceived] = Surprise.Replace("2:AA-1", "2:AE-6", StringComparison.Ordinal)
            .Replace("13:AA-6", "13:AA-7", StringComparison.Ordinal),
        [UpperLayerEvent.AssociateAccept] = "3:AE-7",
        [UpperLayerEvent.AssociateReject] = "3:AE-8",
        [UpperLayerEvent.DataRequest] = "6:DT-1 8:AR-7",
        [UpperLayerEvent.DataReceived] = Surprise.Replace("6:AA-8", "6:DT-2", StringComparison.Ordinal).Replace(" 7:AA-8", " 7:AR-6", StringComparison.Ordinal),
        [UpperLayerEvent.ReleaseRequest] = "6:AR-1",
        [UpperLayerEvent.ReleaseRequestReceived] = Surprise.Replace("6:AA-8", "6:AR-2", StringComparison.Ordinal)
            .Replace(" 7:AA-8", " 7:AR-8", StringComparison.Ordinal),
        [UpperLayerEvent.ReleaseReplyReceived] = Surprise.Replace(" 7:AA-8", " 7:AR-3", StringComparison.Ordinal)
            .Replace("10:AA-8", "10:AR-10", StringComparison.Ordinal).Replace("11:AA-8", "11:AR-3", StringComparison.Ordinal),
        [UpperLayerEvent.ReleaseResponse] = "8:AR-4 9:AR-9 12:AR-4",
        [UpperLayerEvent.AbortRequest] = "3:AA-1 4:AA-2 5:AA-1 6:AA-1 7:AA-1 8:AA-1 9:AA-1 10:AA-1 11:AA-1 12:AA-1",
        [UpperLayerEvent.AbortReceived] = "2:AA-2 3:AA-3 5:AA-3 6:AA-3 7:AA-3 8:AA-3 9:AA-3 10:AA-3 11:AA-3 12:AA-3 13:AA-2",
        [UpperLayerEvent.TransportClosed] = "2:AA-5 3:AA-4 4:AA-4 5:AA-4 6:AA-4 7:AA-4 8:AA-4 9:AA-4 10:AA-4 11:AA-4 12:AA-4 13:AR-5",
        [UpperLayerEvent.ArtimExpired] = "2:AA-2 13:AA-2",
        [UpperLayerEvent.InvalidPduReceived] = Surprise.Replace("13:AA-6", "13:AA-7", StringComparison.Ordinal),
    };

    // Action -> next state, the second one of AE-6 and AR-8 after a bar.
    private static readonly Dictionary<string, string> NextStates = new()
    {
        ["AE-1"] = "4",
        ["AE-2"] = "5",
        ["AE-3"] = "6",
        ["AE-4"] = "1",
        ["AE-5"] = "2",
        ["AE-6"] = "3|13",
        ["AE-7"] = "6",
        ["AE-8"] = "13",
        ["DT-1"] = "6",
        ["DT-2"] = "6",
        ["AR-1"] = "7",
        ["AR-2"] = "8",
        ["AR-3"] = "1",
        ["AR-4"] = "13",
        ["AR-5"] = "1",
        ["AR-6"] = "7",
        ["AR-7"] = "8",
        ["AR-8"] = "9|10",
        ["AR-9"] = "11",
        ["AR-10"] = "12",
        ["AA-1"] = "13",
        ["AA-2"] = "1",
        ["AA-3"] = "1",
        ["AA-4"] = "1",
        ["AA-5"] = "1",
        ["AA-6"] = "13",
        ["AA-7"] = "13",
        ["AA-8"] = "13",
    };

    public static TheoryData<UpperLayerState, UpperLayerEvent> EveryEventInEveryState()
    {
        TheoryData<UpperLayerState, UpperLayerEvent> all = [];
        foreach (UpperLayerState state in Enum.GetValues<UpperLayerState>())
        {
            foreach (UpperLayerEvent @event in Enum.GetValues<UpperLayerEvent>())
            {
                all.Add(state, @event);
            }
        }

        return all;
    }

    [Fact]
    public void There_are_13_states_and_19_events()
    {
        Assert.Equal(13, Enum.GetValues<UpperLayerState>().Length);
        Assert.Equal(19, Enum.GetValues<UpperLayerEvent>().Length);
    }

    [Theory]
    [MemberData(nameof(EveryEventInEveryState))]
    public void Every_event_in_every_state_is_as_in_table_9_10(UpperLayerState state, UpperLayerEvent @event)
    {
        string? action = Table[@event].Split(' ').Select(cell => cell.Split(':')).Where(cell => cell[0] == $"{(int)state}").Select(cell => cell[1]).SingleOrDefault();
        if (action is null)
        {
            Assert.False(UpperLayerMachine.CanHappen(state, @event));
            Assert.Throws<InvalidOperationException>(() => UpperLayerMachine.Next(state, @event));
            return;
        }

        string[] next = NextStates[action].Split('|');
        Assert.Equal((action, $"Sta{next[0]}"), Flat(UpperLayerMachine.Next(state, @event)));
        Assert.Equal((action, $"Sta{next[^1]}"), Flat(UpperLayerMachine.Next(state, @event, otherwise: true)));
    }

    [Fact]
    public void Whatever_has_no_place_ends_in_an_abort_and_the_wait_for_the_close()
    {
        // PS3.8 Table 9-9: AA-8 sends A-ABORT (provider), indicates A-P-ABORT, starts ARTIM.
        Assert.Equal(
            [UpperLayerStep.SendProviderAbort, UpperLayerStep.IndicateProviderAbort, UpperLayerStep.StartArtim], UpperLayerMachine.StepsOf("AA-8"));
        Assert.Equal([UpperLayerStep.SendUserAbort, UpperLayerStep.StartArtim], UpperLayerMachine.StepsOf("AA-1"));
        Assert.Equal([UpperLayerStep.StopArtim, UpperLayerStep.Close], UpperLayerMachine.StepsOf("AA-2"));
        Assert.Empty(UpperLayerMachine.StepsOf("AA-6"));
    }

    [Fact]
    public void A_request_that_the_protocol_layer_refuses_is_rejected_and_the_close_awaited()
    {
        // PS3.8 Table 9-6, AE-6, second half.
        UpperLayerTransition transition = UpperLayerMachine.Next(UpperLayerState.Sta2, UpperLayerEvent.AssociateRequestReceived, otherwise: true);

        Assert.Equal([UpperLayerStep.StopArtim, UpperLayerStep.SendReject, UpperLayerStep.StartArtim], transition.Steps);
    }

    [Fact]
    public void Data_can_be_sent_in_no_state_but_the_two_of_the_table()
    {
        UpperLayerState[] states = [.. Enum.GetValues<UpperLayerState>().Where(state => UpperLayerMachine.CanHappen(state, UpperLayerEvent.DataRequest))];

        Assert.Equal([UpperLayerState.Sta6, UpperLayerState.Sta8], states);
    }

    private static (string Action, string Next) Flat(UpperLayerTransition transition) => (transition.Action, transition.Next.ToString());
}
