using System.Collections.Concurrent;
using System.Net;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.PerformedSteps;
using CameraBridge.Tests.Persistence;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;

namespace CameraBridge.Tests.Pipeline.PerformedSteps;

/// <summary>
/// What the RIS answers to the end of a step (PS3.4 section F.7.2.2, PS3.7 section 10.1.3, edition 2025e) and what that means after an answer that was lost: a step
/// that has ended may no longer be updated, which some RIS say by Error ID A710 and some only by a processing failure.
/// </summary>
public sealed class PerformedStepsStageTests : StageTests
{
    private const string Step = "2.25.77";

    private const string Item =
        """
        [{"0020000D":{"vr":"UI","Value":["2.25.7"]},"00401001":{"vr":"SH","Value":["RP1"]},"00400100":{"vr":"SQ","Value":[
        {"00080060":{"vr":"CS","Value":["XC"]},"00400009":{"vr":"SH","Value":["SPS1"]}}]}}]
        """;

    private static readonly string[] Syntaxes = [TransferSyntaxes.ExplicitVRLittleEndian, TransferSyntaxes.ImplicitVRLittleEndian];

    private readonly ConcurrentQueue<string> _told = [];

    [Fact]
    public async Task A_step_is_told_its_beginning_and_then_its_end()
    {
        await using Provider ris = Ris(_ => HandlerAnswer.Success);
        await QueueAsync();

        await RunAsync(ris.EndPoint.Port);
        await RunAsync(ris.EndPoint.Port);

        Assert.Equal([$"create {Step}", $"set {Step}"], _told);
        Assert.Equal(PerformedStepState.Completed, (await StepAsync()).State);
        Assert.Equal(0, await OpenWorkAsync());
    }

    [Fact]
    public async Task An_end_whose_answer_was_never_written_down_counts_as_taken_when_the_RIS_says_that_it_may_not_be_updated()
    {
        await using Provider ris = Ris(_ => new HandlerAnswer(Statuses.ProcessingFailure));
        await QueueAsync();
        await RunAsync(ris.EndPoint.Port);

        // Sent, and killed before the answer was written.
        Assert.True(await Database.BeginEndOfStepAsync(Assert.Single(await LeaseAsync()), Cancellation));
        Clock.Advance(TimeSpan.FromMinutes(3));
        await RunAsync(ris.EndPoint.Port);

        Assert.Equal(PerformedStepState.Completed, (await StepAsync()).State);
        Assert.Equal(0, await OpenWorkAsync());
    }

    [Fact]
    public async Task A_connection_that_breaks_before_the_answer_leaves_an_end_that_may_have_been_taken()
    {
        await using (Provider breaking = Ris(request => throw request.Association.Break(new ConnectionFailedException("the test wants it"))))
        {
            await QueueAsync();
            await RunAsync(breaking.EndPoint.Port);
            await RunAsync(breaking.EndPoint.Port);
            Assert.Equal(PerformedStepState.Ending, (await StepAsync()).State);
        }

        await using Provider ris = Ris(_ => new HandlerAnswer(Statuses.ProcessingFailure));
        Clock.Advance(TimeSpan.FromMinutes(1));
        await RunAsync(ris.EndPoint.Port);

        Assert.Equal(PerformedStepState.Completed, (await StepAsync()).State);
    }

    [Fact]
    public async Task A_RIS_that_fails_at_an_end_that_was_never_sent_before_is_asked_again_and_not_believed_to_have_it()
    {
        int failures = 0;
        await using Provider ris = Ris(_ => failures++ == 0 ? new HandlerAnswer(Statuses.ProcessingFailure) : HandlerAnswer.Success);
        await QueueAsync();
        await RunAsync(ris.EndPoint.Port);
        await RunAsync(ris.EndPoint.Port);

        Assert.Equal(PerformedStepState.InProgress, (await StepAsync()).State);
        Clock.Advance(TimeSpan.FromMinutes(1));
        await RunAsync(ris.EndPoint.Port);

        Assert.Equal((PerformedStepState.Completed, 2), ((await StepAsync()).State, failures));
    }

    [Fact]
    public async Task A_step_that_a_person_ended_at_the_RIS_is_left_as_it_is()
    {
        await using Provider ris = Ris(_ => new HandlerAnswer(Statuses.ProcessingFailure) { ErrorID = PerformedStepUser.HasEnded });
        await QueueAsync();
        await RunAsync(ris.EndPoint.Port);
        await RunAsync(ris.EndPoint.Port);

        PerformedStep step = await StepAsync();
        Assert.Equal(PerformedStepState.Completed, step.State);
        Assert.EndsWith("had its end already.", step.Words, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_RIS_that_fails_for_days_leaves_the_step_to_a_person()
    {
        await using Provider ris = Ris(_ => new HandlerAnswer(Statuses.ProcessingFailure));
        await QueueAsync();
        await RunAsync(ris.EndPoint.Port);
        Clock.Advance(TimeSpan.FromDays(4));
        await RunAsync(ris.EndPoint.Port);

        PerformedStep step = await StepAsync();
        Assert.Equal(PerformedStepState.Refused, step.State);
        Assert.Contains("Enter the procedure in the RIS by hand", step.Words, StringComparison.Ordinal);
    }

    private Provider Ris(Func<InstanceRequest, HandlerAnswer> atEnd) => Provider.Start(new ProviderOptions
    {
        EndPoint = new IPEndPoint(IPAddress.Loopback, 0),
        Acceptor = new AcceptorOptions { Offers = [new ContextOffer(SopClasses.ModalityPerformedProcedureStep, Syntaxes)] },
        Create = (request, _) => Tell("create", request, HandlerAnswer.Success),
        Set = (request, _) => Tell("set", request, atEnd(request)),
    });

    private ValueTask<HandlerAnswer> Tell(string what, InstanceRequest request, HandlerAnswer answer)
    {
        _told.Enqueue($"{what} {request.SOPInstanceUID}");
        return ValueTask.FromResult(answer);
    }

    private async Task QueueAsync()
    {
        await OpenAsync();
        await FlowSteps.QueueAsync(
            Database, ["1/1.jpg"], _ => [new StoredPiece([8, 0, 5, 0], null, 0, 4)], FlowSteps.TransferSyntaxUID, ["archive"],
            new Match { StepJson = Item, PerformedStepUID = Step });
    }

    private async Task<IReadOnlyList<Work>> LeaseAsync() => await Database.LeaseAsync(Stage.PerformedSteps, "", 10, TimeSpan.FromMinutes(2), Cancellation);

    private async Task RunAsync(int port)
    {
        PerformedStepConfiguration ris = new() { Peer = new PeerConfiguration { Name = "ris", Host = "127.0.0.1", Port = port, CalledAETitle = "RIS" } };
        PerformedStepsStage stage = new(Site(), ris, Database, Clock, NullLogger<PerformedStepsStage>.Instance, new Random(1));
        IReadOnlyList<Work> batch = await LeaseAsync();
        Assert.Single(batch);
        await stage.RunAsync(batch, Cancellation);
    }

    private async Task<PerformedStep> StepAsync() => Assert.Single(await Database.GetPerformedStepsAsync(1, Cancellation));

    private async Task<int> OpenWorkAsync() => (await Database.CountWorkAsync(Cancellation)).GetValueOrDefault(Stage.PerformedSteps);
}
