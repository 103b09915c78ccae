using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>C-FIND as user against scripted peers (PS3.7 sections 9.1.2 and 9.3.2, PS3.4 Annex K).</summary>
public sealed class FindUserTests
{
    private const string Worklist = SopClasses.ModalityWorklistInformationModelFind;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task Matches_come_one_by_one_and_the_final_answer_last()
    {
        ScriptedMessage? query = null;
        await using (ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            query = await connection.ReceiveMessageAsync();
            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0xFF00), Match("A1"));
            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0xFF01), Match("A2"));
            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0x0000));
            await connection.AnswerReleaseAsync();
        }))
        {
            await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);
            FindOperation operation = new FindUser(association).Find(Worklist, Keys());
            List<(string?, ushort)> matches = [];
            await foreach (FindMatch match in operation.WithCancellation(Stop))
            {
                matches.Add((match.Identifier.GetString(Tags.AccessionNumber), match.Status));
            }

            Assert.Equal([("A1", 0xFF00), ("A2", 0xFF01)], matches);
            Assert.Equal(0, operation.Final!.Status);
            Assert.False(operation.IsCut);
            await association.ReleaseAsync(Stop);

        }

        // PS3.7 Table 9.3-3; the identifier: (0008,0050) empty.
        Assert.Equal(CommandField.FindRequest, query!.Command.CommandField);
        Assert.Equal((Worklist, (ushort)0), (query.Command.AffectedSOPClassUID, query.Command.Priority!.Value));
        Assert.Equal([8, 0, 0x50, 0, 0, 0, 0, 0], query.DataSet);
    }

    [Fact]
    public async Task Above_the_limit_the_query_is_cancelled_and_read_on_to_the_final_answer()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            ScriptedMessage query = await connection.ReceiveMessageAsync();
            for (int i = 0; i < 5; i++)
            {
                await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0xFF00), Match($"A{i}"));
            }

            ScriptedMessage cancel = await connection.ReceiveMessageAsync();
            Assert.Equal((CommandField.CancelRequest, query.Command.MessageID), (cancel.Command.CommandField, cancel.Command.MessageIDBeingRespondedTo));
            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0xFF00), Match("LATE"));
            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0xFE00));
            ScriptedMessage echo = await connection.ReceiveMessageAsync();
            await connection.SendMessageAsync(1, CommandSet.ResponseTo(echo.Command, 0));
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        FindResult result = await new FindUser(association).FindAllAsync(Worklist, Keys(), 3, Stop);

        Assert.Equal(3, result.Matches.Count);
        Assert.True(result.IsCut);
        Assert.Equal(StatusClass.Cancel, result.Final.Meaning.Class);
        Assert.True((await new EchoUser(association).EchoAsync(Stop)).IsDone);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task As_many_matches_as_allowed_and_no_more_are_not_cut()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            ScriptedMessage query = await connection.ReceiveMessageAsync();
            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0xFF00), Match("A1"));
            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0x0000));
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        FindResult result = await new FindUser(association).FindAllAsync(Worklist, Keys(), 1, Stop);

        Assert.Single(result.Matches);
        Assert.False(result.IsCut);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task Whoever_leaves_early_cancels_and_the_association_can_be_used_again()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            ScriptedMessage query = await connection.ReceiveMessageAsync();
            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0xFF00), Match("A1"));
            Assert.Equal(CommandField.CancelRequest, (await connection.ReceiveMessageAsync()).Command.CommandField);
            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0xFE00));
            ScriptedMessage echo = await connection.ReceiveMessageAsync();
            await connection.SendMessageAsync(1, CommandSet.ResponseTo(echo.Command, 0));
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);
        FindOperation operation = new FindUser(association).Find(Worklist, Keys());

        await foreach (FindMatch match in operation.WithCancellation(Stop))
        {
            Assert.Equal("A1", match.Identifier.GetString(Tags.AccessionNumber));
            break;
        }

        Assert.True(operation.IsCut);
        Assert.Equal(0xFE00, operation.Final!.Status);
        Assert.True((await new EchoUser(association).EchoAsync(Stop)).IsDone);
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_refused_query_gives_its_status_and_what_the_peer_said()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            CommandSet answer = CommandSet.ResponseTo((await connection.ReceiveMessageAsync()).Command, 0xA900);
            answer.ErrorComment = "bad date";
            answer.OffendingElement = [new Tag(0x0040, 0x0002)];
            await connection.SendMessageAsync(5, answer);
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        FindResult result = await new FindUser(association).FindAllAsync(Worklist, Keys(), cancellationToken: Stop);

        Assert.Empty(result.Matches);
        Assert.Equal(("bad date", StatusClass.Failure), (result.Final.ErrorComment, result.Final.Meaning.Class));
        Assert.Equal("C-FIND A900: the identifier does not match the SOP class (0040,0002)", result.Final.ToString());
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_match_that_cannot_be_read_breaks_the_association()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            ScriptedMessage query = await connection.ReceiveMessageAsync();
            // (0008,0050) with a length of 2^31.
            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0xFF00), [8, 0, 0x50, 0, 0, 0, 0, 0x80]);
            await connection.WaitForCloseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        await Assert.ThrowsAsync<ProtocolException>(() => new FindUser(association).FindAllAsync(Worklist, Keys(), cancellationToken: Stop));

        Assert.False(association.IsOpen);
    }

    [Fact]
    public async Task Five_thousand_matches_are_read()
    {
        await using ScriptedPeer peer = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            ScriptedMessage query = await connection.ReceiveMessageAsync();
            for (int i = 0; i < 5000; i++)
            {
                await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0xFF00), Match($"A{i}"));
            }

            await connection.SendMessageAsync(5, CommandSet.ResponseTo(query.Command, 0));
            await connection.AnswerReleaseAsync();
        });
        await using Association association = await Association.RequestAsync(AssociationTests.Options(peer.Port), Stop);

        FindResult result = await new FindUser(association).FindAllAsync(Worklist, Keys(), cancellationToken: Stop);

        Assert.Equal(5000, result.Matches.Count);
        Assert.Equal("A4999", result.Matches[^1].Identifier.GetString(Tags.AccessionNumber));
        await association.ReleaseAsync(Stop);
    }

    private static DataSet Keys()
    {
        DataSet keys = new();
        keys.SetEmpty(Tags.AccessionNumber);
        return keys;
    }

    private static byte[] Match(string accessionNumber)
    {
        DataSet match = new();
        match.Set(Tags.AccessionNumber, accessionNumber);
        return ElementWriter.ToBytes(match, TransferSyntax.ImplicitLittleEndian);
    }
}
