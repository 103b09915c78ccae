using System.Collections.Concurrent;
using System.Net;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>Performed procedure steps over the wire, with a RIS of our own provider and with one that keeps to the script.</summary>
public sealed class PerformedStepUserTests
{
    private const string Step = SopClasses.ModalityPerformedProcedureStep;

    private static CancellationToken Stop => TestContext.Current.CancellationToken;

    [Fact]
    public async Task A_step_is_made_completed_and_then_closed_for_good()
    {
        ConcurrentDictionary<string, DataSet> steps = [];
        await using Provider ris = StartRis(steps);
        await using Association association = await AssociateAsync(ris.EndPoint.Port);
        PerformedStepUser user = new(association);
        DataSet created = PerformedStepCheckTests.Step().ToDataSet();
        DataSet end = PerformedStepCheckTests.Completed().ToDataSet();

        DimseReply made = await user.CreateAsync("1.2.3.10", created, Stop);
        DimseReply again = await user.CreateAsync("1.2.3.10", created, Stop);
        DimseReply ended = await user.SetAsync("1.2.3.10", created, end, Stop);
        DimseReply late = await user.SetAsync("1.2.3.10", created, end, Stop);
        DimseReply unknown = await user.SetAsync("1.2.3.11", created, end, Stop);
        (DimseReply got, DataSet? attributes) = await user.GetAsync("1.2.3.10", [Tags.PerformedProcedureStepStatus], Stop);

        Assert.True(made.IsDone && ended.IsDone && got.IsDone);
        // PS3.7 section 10.1.5.1.6: 0111H; both advise to ask, since an answer may have been lost.
        Assert.Equal((0x0111, StatusAdvice.Ask), (again.Status, again.Meaning.Advice));
        // PS3.4 Table F.7.2-2: 0110H with Error ID A710H.
        Assert.Equal((0x0110, (ushort?)0xA710, StatusAdvice.Ask), (late.Status, late.ErrorID, late.Meaning.Advice));
        Assert.Equal((0x0112, StatusAdvice.Never), (unknown.Status, unknown.Meaning.Advice));
        Assert.Equal("COMPLETED", attributes!.GetString(Tags.PerformedProcedureStepStatus));
        Assert.Single(attributes);
        DataSet series = Assert.Single(steps["1.2.3.10"].GetItems(Tags.PerformedSeriesSequence));
        Assert.Equal("1.2.3.4.1", series.GetItem(Tags.ReferencedImageSequence)!.GetString(Tags.ReferencedSOPInstanceUID));
        Assert.Equal("P0001", steps["1.2.3.10"].GetString(Tags.PatientID));
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task What_a_ris_would_refuse_is_not_sent_and_the_sentence_names_no_patient()
    {
        await using Provider ris = StartRis([]);
        await using Association association = await AssociateAsync(ris.EndPoint.Port);
        DataSet created = PerformedStepCheckTests.Step().ToDataSet();
        created.SetEmpty(Tags.Modality);

        PerformedStepException thrown = await Assert.ThrowsAsync<PerformedStepException>(() => new PerformedStepUser(association).CreateAsync("1.2.3.10", created, Stop));

        Assert.Equal(
            "The N-CREATE of the performed procedure step was not sent: Modality (PS3.4 Table F.7.2-1): empty, right would be a value.", thrown.Message);
        await association.ReleaseAsync(Stop);
    }

    [Theory]
    [InlineData(0x0107, StatusClass.Warning)]
    [InlineData(0x0116, StatusClass.Warning)]
    [InlineData(0x0106, StatusClass.Failure)]
    [InlineData(0x0110, StatusClass.Failure)]
    [InlineData(0x0122, StatusClass.Failure)]
    [InlineData(0xC001, StatusClass.Failure)]
    public async Task Every_answer_of_a_ris_is_judged_by_the_table(int status, StatusClass kind)
    {
        await using Provider ris = StartRis([], create: (_, _) => new(new HandlerAnswer((ushort)status)));
        await using Association association = await AssociateAsync(ris.EndPoint.Port);

        DimseReply reply = await new PerformedStepUser(association).CreateAsync("1.2.3.10", PerformedStepCheckTests.Step().ToDataSet(), Stop);

        Assert.Equal((status, kind), (reply.Status, reply.Meaning.Class));
        await association.ReleaseAsync(Stop);
    }

    [Fact]
    public async Task A_ris_that_answers_about_another_step_is_left()
    {
        await using ScriptedPeer ris = ScriptedPeer.Listen(async connection =>
        {
            await connection.AcceptAsync();
            ScriptedMessage create = await connection.ReceiveMessageAsync();
            CommandSet answer = CommandSet.ResponseTo(create.Command, 0);
            answer.AffectedSOPInstanceUID = "1.2.3.99";
            await connection.SendMessageAsync(create.ContextId, answer);
            await connection.WaitForCloseAsync();
        });
        await using Association association = await AssociateAsync(ris.Port);

        await Assert.ThrowsAsync<ProtocolException>(
            () => new PerformedStepUser(association).CreateAsync("1.2.3.10", PerformedStepCheckTests.Step().ToDataSet(), Stop));
    }

    [Fact]
    public async Task A_ris_that_does_not_do_steps_is_told_with_the_next_step()
    {
        await using Provider ris = Provider.Start(ProviderTests.Options());
        AssociationOptions options = AssociationTests.Options(ris.EndPoint.Port);
        await using Association association = await Association.RequestAsync(options with { Contexts = [.. PerformedStepUser.Proposals, .. options.Contexts] }, Stop);

        ContextNotAcceptedException thrown = await Assert.ThrowsAsync<ContextNotAcceptedException>(
            () => new PerformedStepUser(association).CreateAsync("1.2.3.10", PerformedStepCheckTests.Step().ToDataSet(), Stop));

        Assert.EndsWith("enable it there for our AE title.", thrown.Sentence, StringComparison.Ordinal);
        await association.ReleaseAsync(Stop);
    }

    private static Task<Association> AssociateAsync(int port) => Association.RequestAsync(
        AssociationTests.Options(port) with { Contexts = [.. PerformedStepUser.Proposals, .. PerformedStepUser.RetrieveProposals] }, Stop);

    private static Provider StartRis(ConcurrentDictionary<string, DataSet> steps, InstanceHandler? create = null)
    {
        string[] syntaxes = [TransferSyntaxes.ImplicitVRLittleEndian];
        return Provider.Start(new ProviderOptions
        {
            EndPoint = new IPEndPoint(IPAddress.Loopback, 0),
            Acceptor = new AcceptorOptions
            {
                Offers = [new ContextOffer(Step, syntaxes), new ContextOffer(SopClasses.ModalityPerformedProcedureStepRetrieve, syntaxes)],
            },
            Create = create ?? ((request, _) => new(new HandlerAnswer(steps.TryAdd(request.SOPInstanceUID, request.DataSet) ? Statuses.Success : Statuses.DuplicateInstance))),
            Set = (request, _) =>
            {
                if (!steps.TryGetValue(request.SOPInstanceUID, out DataSet? step))
                {
                    return new(new HandlerAnswer(Statuses.NoSuchInstance));
                }

                if (step.GetString(Tags.PerformedProcedureStepStatus) != PerformedStepCheck.InProgress)
                {
                    return new(new HandlerAnswer(Statuses.ProcessingFailure, "may no longer be updated") { ErrorID = 0xA710 });
                }

                steps[request.SOPInstanceUID] = PerformedStepCheck.Merge(step, request.DataSet);
                return new(HandlerAnswer.Success);
            },
            Get = (request, _) =>
            {
                DataSet asked = new();
                foreach (Element element in steps[request.SOPInstanceUID].Where(element => request.AttributeIdentifierList.Contains(element.Tag)))
                {
                    asked.Put(element);
                }

                return new(HandlerAnswer.Success with { DataSet = asked });
            },
        });
    }
}
