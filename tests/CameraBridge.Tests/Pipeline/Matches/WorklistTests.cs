using System.Net;
using System.Runtime.CompilerServices;
using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Pipeline.Matches;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches;

/// <summary>Asking a worklist that behaves as worklists do: many answers, FF01, rejections, silence, wrong character sets, broken associations.</summary>
public sealed class WorklistTests
{
    private static readonly WorklistQuestion ById = new() { PatientID = "P0001" };

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public void Every_return_key_is_asked_for_whatever_is_matched()
    {
        DataSet broad = new WorklistQuestion { StationAETitle = "CAM1", Modality = "ES", From = new DateOnly(2026, 11, 24), To = new DateOnly(2026, 11, 26) }.ToIdentifier();
        DataSet byId = ById.ToIdentifier();

        // PS3.4 Table K.6-1 (edition 2016, return key types 1 and 2 of the attributes that images need): what is not in the query does not come back.
        Tag[] needed =
        [
            Tags.SpecificCharacterSet, Tags.AccessionNumber, Tags.ReferringPhysicianName, Tags.ReferencedStudySequence, Tags.ReferencedPatientSequence,
            Tags.PatientName, Tags.PatientID, Tags.IssuerOfPatientID, Tags.PatientBirthDate, Tags.PatientSex, Tags.PatientWeight, Tags.StudyInstanceUID,
            Tags.RequestingPhysician, Tags.RequestedProcedureDescription, Tags.RequestedProcedureCodeSequence, Tags.AdmissionID,
            Tags.ScheduledProcedureStepSequence, Tags.RequestedProcedureID, Tags.RequestedProcedurePriority,
        ];
        Tag[] neededOfStep =
        [
            Tags.Modality, Tags.ScheduledStationAETitle, Tags.ScheduledProcedureStepStartDate, Tags.ScheduledProcedureStepStartTime,
            Tags.ScheduledPerformingPhysicianName, Tags.ScheduledProcedureStepDescription, Tags.ScheduledProtocolCodeSequence,
            Tags.ScheduledProcedureStepID, Tags.ScheduledStationName, Tags.ScheduledProcedureStepLocation, Tags.ScheduledProcedureStepStatus,
        ];
        foreach (DataSet identifier in new[] { broad, byId })
        {
            Assert.All(needed, tag => Assert.True(identifier.Contains(tag), tag.ToString()));
            Assert.All(neededOfStep, tag => Assert.True(identifier.GetItem(Tags.ScheduledProcedureStepSequence)!.Contains(tag), tag.ToString()));
        }

        DataSet step = broad.GetItem(Tags.ScheduledProcedureStepSequence)!;
        Assert.Equal("CAM1", step.GetString(Tags.ScheduledStationAETitle));
        Assert.Equal("ES", step.GetString(Tags.Modality));
        Assert.Equal("20261124-20261126", Encoding.ASCII.GetString(step.GetBytes(Tags.ScheduledProcedureStepStartDate).Span).TrimEnd());
        Assert.Equal("P0001", byId.GetString(Tags.PatientID));
        Assert.False(byId.GetItem(Tags.ScheduledProcedureStepSequence)!.HasValue(Tags.ScheduledProcedureStepStartDate));
    }

    [Theory]
    [InlineData("P*")]
    [InlineData("P?")]
    [InlineData("P1\\P2")]
    [InlineData("")]
    public void No_wildcard_is_ever_sent(string value) =>
        Assert.Throws<InvalidOperationException>(() => new WorklistQuestion { PatientID = value }.ToIdentifier());

    [Fact]
    public async Task Five_thousand_answers_are_cut_off_at_the_limit_and_the_association_lives_on()
    {
        await using var server = new Server(_ => Enumerable.Range(0, 5000).Select(i => new FindMatch(Steps.Answer(patientID: $"Q{i}", stepId: $"T{i}"))));
        await using Worklist worklist = server.Ask(answerLimit: 100);

        WorklistAnswers first = await worklist.AskAsync(ById, Cancellation);
        WorklistAnswers second = await worklist.AskAsync(new WorklistQuestion { PatientID = "P0002" }, Cancellation);

        Assert.True(first.CutOff);
        Assert.Equal(100, first.Total);
        Assert.Null(first.Failure);
        Assert.True(second.CutOff);
        Assert.Equal(1, server.AssociationsSeen);
    }

    [Fact]
    public async Task Both_pending_codes_are_answers()
    {
        await using var server = new Server(_ => [new FindMatch(Steps.Answer(), Statuses.PendingWithUnsupportedKeys), new FindMatch(Steps.Answer(stepId: "S2"))]);
        await using Worklist worklist = server.Ask();

        WorklistAnswers answers = await worklist.AskAsync(ById, Cancellation);

        Assert.True(answers.KeysNotSupported);
        Assert.Equal(["S0001", "S2"], answers.Steps.Select(step => step.ScheduledProcedureStepID));
        Assert.Equal((ushort)0, answers.Status);
    }

    [Fact]
    public async Task Equal_questions_are_asked_once_and_all_over_one_association()
    {
        await using var server = new Server(_ => [new FindMatch(Steps.Answer())]);
        await using Worklist worklist = server.Ask();

        for (int i = 0; i < 5; i++)
        {
            await worklist.AskAsync(ById, Cancellation);
            await worklist.AskAsync(new WorklistQuestion { AccessionNumber = "A1" }, Cancellation);
        }

        Assert.Equal(2, server.Queries.Count);
        Assert.Equal(1, server.AssociationsSeen);
    }

    [Theory]
    [InlineData(null)]
    [InlineData("ISO_IR 192")]
    [InlineData("ISO_IR 100")]
    public async Task Text_without_its_character_set_is_read_by_the_fallback_and_flagged(string? fallback)
    {
        // UTF-8 bytes and no (0008,0005), as dcmtk's worklist server sends them without -csk.
        DataSet wrong = Steps.Answer(name: null);
        wrong.SetBytes(Tags.PatientName, Encoding.UTF8.GetBytes("Müller^Änne"));
        wrong.Remove(Tags.SpecificCharacterSet);
        await using var server = new Server(_ => [new FindMatch(wrong)]);
        await using Worklist worklist = server.Ask(fallback: fallback);

        WorklistStep step = Assert.Single((await worklist.AskAsync(ById, Cancellation)).Steps);

        Assert.NotNull(step.TextFlaw);
        Assert.DoesNotContain("Änne", step.TextFlaw, StringComparison.Ordinal);
        Assert.Equal("P0001", step.PatientID);
        Assert.DoesNotContain("?", step.Item.GetString(Tags.PatientName), StringComparison.Ordinal);
        if (fallback == "ISO_IR 192")
        {
            Assert.Equal("Müller^Änne", step.Item.GetString(Tags.PatientName));
            Assert.Contains("Müller^Änne", step.ToJson(), StringComparison.Ordinal);
        }
    }

    [Fact]
    public async Task A_failure_status_is_told_and_asked_again()
    {
        await using var server = new Server(_ => throw new RequestFailedException(new HandlerAnswer(Statuses.OutOfResources, "Sample^Ida")));
        await using Worklist worklist = server.Ask();

        WorklistAnswers answers = await worklist.AskAsync(ById, Cancellation);

        Assert.Equal("worklist-refused", answers.Failure?.Code);
        Assert.Contains("A700", answers.Failure!.Words, StringComparison.Ordinal);
        Assert.DoesNotContain("Sample", answers.Failure.Words, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_rejected_association_is_told_in_a_sentence_and_not_tried_for_each_question()
    {
        await using var server = new Server(_ => [], called: "OTHERAE");
        await using Worklist worklist = server.Ask();

        WorklistAnswers first = await worklist.AskAsync(ById, Cancellation);
        WorklistAnswers second = await worklist.AskAsync(new WorklistQuestion { PatientID = "P0002" }, Cancellation);

        Assert.Equal("worklist-down", first.Failure?.Code);
        Assert.Contains("BRIDGEWL", first.Failure!.Words, StringComparison.Ordinal);
        Assert.Equal(first.Failure, second.Failure);
    }

    [Fact]
    public async Task A_worklist_that_says_nothing_is_given_up_at_the_limit()
    {
        using var ended = new ManualResetEventSlim();
        await using var server = new Server(_ => Wait());
        await using Worklist worklist = server.Ask(responseLimit: TimeSpan.FromMilliseconds(300));

        WorklistAnswers answers = await worklist.AskAsync(ById, Cancellation);

        ended.Set();
        Assert.Equal("worklist-down", answers.Failure?.Code);

        IEnumerable<FindMatch> Wait()
        {
            ended.Wait(TimeSpan.FromSeconds(20), CancellationToken.None);
            yield break;
        }
    }

    [Fact]
    public async Task Nobody_at_the_port_is_a_worklist_that_is_down()
    {
        int port;
        await using (var gone = new Server(_ => []))
        {
            port = gone.Port;
        }

        await using var worklist = new Worklist(Site(), Steps.Worklist(port), TimeProvider.System);
        Assert.Equal("worklist-down", (await worklist.AskAsync(ById, Cancellation)).Failure?.Code);
    }

    [Fact]
    public async Task An_association_that_ended_between_two_questions_is_made_anew()
    {
        await using var server = new Server(_ => [new FindMatch(Steps.Answer())], idle: TimeSpan.FromMilliseconds(50));
        await using Worklist worklist = server.Ask();

        await worklist.AskAsync(ById, Cancellation);
        await server.AllGoneAsync(Cancellation);
        WorklistAnswers second = await worklist.AskAsync(new WorklistQuestion { PatientID = "P0002" }, Cancellation);

        Assert.Null(second.Failure);
        Assert.Equal(2, server.AssociationsSeen);
    }

    internal static SiteConfiguration Site() => new() { SpoolFolder = "/nonexistent", StateFile = "/nonexistent" };

    /// <summary>A worklist provider of our own library that answers by a function and remembers what it was asked.</summary>
    private sealed class Server : IAsyncDisposable
    {
        private readonly Provider _provider;
        private readonly Func<FindQuery, IEnumerable<FindMatch>> _answer;
        private readonly HashSet<string> _peers = [];

        public Server(Func<FindQuery, IEnumerable<FindMatch>> answer, string called = "BRIDGEWL", TimeSpan? idle = null)
        {
            _answer = answer;
            _provider = Provider.Start(new ProviderOptions
            {
                EndPoint = new IPEndPoint(IPAddress.Loopback, 0),
                Acceptor = new AcceptorOptions
                {
                    CalledAETitles = [called],
                    Offers = [new ContextOffer(SopClasses.ModalityWorklistInformationModelFind, [TransferSyntaxes.ImplicitVRLittleEndian])],
                    Limits = AssociationLimits.Default with { Idle = idle ?? TimeSpan.FromSeconds(60) },
                },
                Find = FindAsync,
            });
        }

        public List<DataSet> Queries { get; } = [];

        public int AssociationsSeen => _peers.Count;

        public int Port => _provider.EndPoint.Port;

        public Worklist Ask(int answerLimit = 1000, string? fallback = null, TimeSpan? responseLimit = null) =>
            new(Site(), Steps.Worklist(Port, answerLimit, fallback, responseLimit), TimeProvider.System);

        public async Task AllGoneAsync(CancellationToken cancellation)
        {
            using var timer = new PeriodicTimer(TimeSpan.FromMilliseconds(20));
            while (_provider.Associations > 0 && await timer.WaitForNextTickAsync(cancellation))
            {
            }
        }

        public ValueTask DisposeAsync() => _provider.DisposeAsync();

        private async IAsyncEnumerable<FindMatch> FindAsync(FindQuery query, [EnumeratorCancellation] CancellationToken cancellation)
        {
            lock (Queries)
            {
                Queries.Add(query.Identifier);
                _peers.Add(query.Origin.PeerName);
            }

            await Task.Yield();
            foreach (FindMatch match in _answer(query))
            {
                cancellation.ThrowIfCancellationRequested();
                yield return match;
            }
        }
    }
}
