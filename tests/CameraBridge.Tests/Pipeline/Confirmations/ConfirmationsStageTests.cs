using CameraBridge.Configuration;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Confirmations;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Tests.Peers;
using CameraBridge.Tests.Persistence;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Confirmations;

/// <summary>
/// An archive's success only means that it received an object. That it keeps it is shown by storage commitment (PS3.4 Annex J, edition 2024d) or by a query, and
/// an archive that acknowledges and drops objects is found out.
/// </summary>
public sealed class ConfirmationsStageTests : StageTests
{
    private const string Archive = "archive";

    private readonly WorkSignal _signal = new();

    [Fact]
    public async Task Objects_are_kept_when_the_archive_commits_in_the_association_of_the_request()
    {
        await using ScriptedArchive archive = new();
        await QueueAsync(3);

        await RunAsync(archive);

        Assert.All(await ConfirmationsAsync(), confirmation => Assert.Equal((ConfirmationState.Kept, ConfirmationWay.Commitment), (confirmation.State, confirmation.Way)));
        Assert.Single(archive.Transactions);
        Assert.Equal(3, (await Database.CountWorkAsync(Cancellation))[Stage.Releases]);
    }

    [Fact]
    public async Task An_archive_that_acknowledges_and_drops_is_found_out_and_gets_the_same_object_again()
    {
        await using ScriptedArchive archive = new();
        string dropped = "2.25.2";
        archive.Keeps = uid => uid != dropped || archive.Received.Count(received => received == dropped) > 1;
        await QueueAsync(3);

        await RunAsync(archive);
        await RunAsync(archive);

        Assert.Equal(["2.25.1", "2.25.2", "2.25.3", "2.25.2"], archive.Received);
        Assert.All(await ConfirmationsAsync(), confirmation => Assert.Equal(ConfirmationState.Kept, confirmation.State));
        Assert.Equal(1, (await ConfirmationsAsync()).Single(confirmation => confirmation.SentAgain > 0).SentAgain);
    }

    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public async Task An_archive_that_drops_an_object_always_is_given_to_a_person_and_nothing_is_released(bool commits)
    {
        await using ScriptedArchive archive = new(commits) { Keeps = _ => false };
        await QueueAsync(1);

        for (int i = 0; i < 30; i++)
        {
            await RunAsync(archive);
            Clock.Advance(TimeSpan.FromMinutes(2));
        }

        Confirmation confirmation = Assert.Single(await ConfirmationsAsync());
        Assert.Equal((ConfirmationState.Unconfirmed, DestinationConfiguration.SendAgainMost), (confirmation.State, confirmation.SentAgain));
        Assert.Equal(1 + DestinationConfiguration.SendAgainMost, archive.Received.Count);
        Assert.All(archive.Received, uid => Assert.Equal("2.25.1", uid));
        Assert.Equal(0, (await Database.CountWorkAsync(Cancellation)).Values.Sum());
    }

    [Fact]
    public async Task An_archive_without_commitment_is_asked_by_query()
    {
        await using ScriptedArchive archive = new(commits: false);
        await QueueAsync(2);

        await RunAsync(archive);

        Assert.All(await ConfirmationsAsync(), confirmation => Assert.Equal((ConfirmationState.Kept, ConfirmationWay.Query), (confirmation.State, confirmation.Way)));
    }

    [Fact]
    public async Task An_archive_that_indexes_late_is_looked_at_again_before_its_object_counts_as_missing()
    {
        await using ScriptedArchive archive = new(commits: false) { Keeps = _ => false };
        await QueueAsync(1);

        await RunAsync(archive);
        Assert.Equal(ConfirmationState.Waiting, Assert.Single(await ConfirmationsAsync()).State);
        archive.Kept["2.25.1"] = FlowSteps.SOPClassUID;
        Clock.Advance(TimeSpan.FromSeconds(2));
        await RunAsync(archive);

        Assert.Equal(ConfirmationState.Kept, Assert.Single(await ConfirmationsAsync()).State);
        Assert.Single(archive.Received);
    }

    [Fact]
    public async Task A_query_that_names_another_class_under_our_UID_does_not_confirm()
    {
        await using ScriptedArchive archive = new(commits: false) { Keeps = _ => false };
        archive.Kept["2.25.1"] = "1.2.840.10008.5.1.4.1.1.7";
        await QueueAsync(1);

        await RunAsync(archive);

        Assert.Equal(ConfirmationState.Waiting, Assert.Single(await ConfirmationsAsync()).State);
    }

    [Fact]
    public async Task Without_a_report_a_new_transaction_is_asked_and_a_report_of_the_first_one_still_counts()
    {
        await using ScriptedArchive archive = new(finds: false, reports: Reports.Never);
        await QueueAsync(2);

        await RunAsync(archive, listens: true);
        Assert.Equal(0, await RunAsync(archive, listens: true));
        Clock.Advance(TimeSpan.FromMinutes(10));
        await RunAsync(archive, listens: true);

        CommitmentRequest[] transactions = [.. archive.Transactions];
        Assert.Equal(2, transactions.Length);
        Assert.NotEqual(transactions[0].TransactionUID, transactions[1].TransactionUID);
        Assert.All(await ConfirmationsAsync(), confirmation => Assert.Equal(ConfirmationState.Waiting, confirmation.State));

        Assert.Equal(CommitmentReceipt.Taken, await TakeAsync(archive.ReportOf(transactions[0])));
        Assert.All(await ConfirmationsAsync(), confirmation => Assert.Equal(ConfirmationState.Kept, confirmation.State));

        // The second one, when it comes at last, and the first one again, change nothing.
        Assert.Equal(CommitmentReceipt.Taken, await TakeAsync(archive.ReportOf(transactions[1])));
        Assert.Equal(CommitmentReceipt.Taken, await TakeAsync(archive.ReportOf(transactions[0])));
        Assert.All(await ConfirmationsAsync(), confirmation => Assert.Equal(ConfirmationState.Kept, confirmation.State));
        Assert.Equal(2, (await Database.CountWorkAsync(Cancellation))[Stage.Releases]);
    }

    [Fact]
    public async Task Where_nobody_listens_an_archive_without_queries_has_its_time_before_it_is_asked_again()
    {
        await using ScriptedArchive archive = new(finds: false, reports: Reports.Never);
        await QueueAsync(1);

        await RunAsync(archive);
        Assert.Equal(0, await RunAsync(archive));
        Clock.Advance(TimeSpan.FromMinutes(10));
        await RunAsync(archive);

        Assert.Equal(2, archive.Transactions.Count);
    }

    [Fact]
    public async Task An_archive_that_never_reports_is_asked_by_query_in_the_end()
    {
        await using ScriptedArchive archive = new(reports: Reports.Never);
        await QueueAsync(1);

        for (int i = 0; i < 4; i++)
        {
            await RunAsync(archive, listens: true);
            Clock.Advance(TimeSpan.FromMinutes(10));
        }

        Assert.Equal(3, archive.Transactions.Count);
        Confirmation confirmation = Assert.Single(await ConfirmationsAsync());
        Assert.Equal((ConfirmationState.Kept, ConfirmationWay.Query), (confirmation.State, confirmation.Way));
    }

    [Fact]
    public async Task A_report_that_leaves_an_object_out_does_not_confirm_it()
    {
        await using ScriptedArchive archive = new(finds: false, reports: Reports.Never);
        await QueueAsync(2);
        await RunAsync(archive, listens: true);
        CommitmentRequest asked = Assert.Single(archive.Transactions);

        await TakeAsync(new CommitmentReport(asked.TransactionUID, [asked.Instances[0]], []));

        Assert.Equal([ConfirmationState.Kept, ConfirmationState.Waiting], (await ConfirmationsAsync()).Select(confirmation => confirmation.State));
    }

    [Fact]
    public async Task A_report_of_a_transaction_that_nobody_asked_for_is_declined_and_confirms_nothing()
    {
        await using ScriptedArchive archive = new(finds: false, reports: Reports.Never);
        await QueueAsync(1);
        await RunAsync(archive, listens: true);
        CommitmentRequest asked = Assert.Single(archive.Transactions);

        Assert.Equal(CommitmentReceipt.UnknownTransaction, await TakeAsync(new CommitmentReport("2.25.99", asked.Instances, [])));

        Assert.Equal(ConfirmationState.Waiting, Assert.Single(await ConfirmationsAsync()).State);
    }

    [Fact]
    public async Task A_late_failure_of_an_old_transaction_does_not_undo_what_is_kept_by_now()
    {
        await using ScriptedArchive archive = new(finds: false, reports: Reports.Never);
        await QueueAsync(1);
        await RunAsync(archive, listens: true);
        Clock.Advance(TimeSpan.FromMinutes(10));
        await RunAsync(archive, listens: true);
        CommitmentRequest[] asked = [.. archive.Transactions];

        await TakeAsync(new CommitmentReport(asked[1].TransactionUID, asked[1].Instances, []));
        await TakeAsync(new CommitmentReport(asked[0].TransactionUID, [], [new FailedInstance(asked[0].Instances[0], Statuses.NoSuchInstance)]));

        Assert.Equal(ConfirmationState.Kept, Assert.Single(await ConfirmationsAsync()).State);
        Assert.Equal(0, (await Database.CountWorkAsync(Cancellation))[Stage.Deliveries]);
    }

    [Fact]
    public async Task An_archive_that_offers_neither_leaves_its_objects_to_a_person()
    {
        await using ScriptedArchive archive = new(commits: false, finds: false);
        await QueueAsync(1);

        await RunAsync(archive);

        Confirmation confirmation = Assert.Single(await ConfirmationsAsync());
        Assert.Equal(ConfirmationState.Unconfirmed, confirmation.State);
        Assert.Contains("Enable storage commitment or queries", confirmation.Words, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_dead_archive_pauses_the_lane_and_is_asked_when_it_is_back()
    {
        int port;
        await using (ScriptedArchive archive = new())
        {
            port = archive.Port;
            await QueueAsync(1);
            await DeliverAsync(archive.Port);
        }

        await ConfirmAsync(port, listens: false, turns: true);
        Confirmation confirmation = Assert.Single(await ConfirmationsAsync());
        Assert.Equal((ConfirmationState.Waiting, 0), (confirmation.State, confirmation.Asked));

        await using ScriptedArchive back = new();
        back.Kept["2.25.1"] = FlowSteps.SOPClassUID;
        Clock.Advance(TimeSpan.FromMinutes(1));
        await ConfirmAsync(back.Port, listens: false, turns: false);

        Assert.Equal(ConfirmationState.Kept, Assert.Single(await ConfirmationsAsync()).State);
    }

    [Fact]
    public async Task With_confirm_by_none_nothing_is_asked_and_nothing_is_released()
    {
        await using ScriptedArchive archive = new();
        await QueueAsync(1);

        await DeliverAsync(archive.Port, ConfirmBy.None);

        Assert.Empty(await ConfirmationsAsync());
        Assert.Equal(0, (await Database.CountWorkAsync(Cancellation)).Values.Sum());
    }

    private async Task QueueAsync(int count)
    {
        await OpenAsync();
        await FlowSteps.QueueAsync(Database, [.. Enumerable.Range(1, count).Select(i => $"1/{i}.jpg")], _ => [new StoredPiece([8, 0, 5, 0], null, 0, 4)], Archive);
    }

    /// <summary>Delivers what is due, then asks about what is due.</summary>
    /// <returns>How many objects were asked about.</returns>
    private async Task<int> RunAsync(ScriptedArchive archive, bool listens = false)
    {
        await DeliverAsync(archive.Port);
        return await ConfirmAsync(archive.Port, listens, turns: !archive.ReportsAtOnce);
    }

    private async Task DeliverAsync(int port, ConfirmBy confirmBy = ConfirmBy.Auto)
    {
        await using DeliveriesStage stage = new(
            DestinationOf(port) with { ConfirmBy = confirmBy }, Site(), Database, Clock, NullLogger<DeliveriesStage>.Instance, new Random(1));
        await stage.RunAsync(await Database.LeaseAsync(Stage.Deliveries, Archive, 100, TimeSpan.FromMinutes(1), Cancellation), Cancellation);
    }

    /// <param name="port">Of the archive.</param>
    /// <param name="listens">Whether the site takes reports in associations of the archive.</param>
    /// <param name="turns">Whether to turn the clock: only where no report comes that ends the wait.</param>
    private async Task<int> ConfirmAsync(int port, bool listens, bool turns)
    {
        ConfirmationsStage stage = new(DestinationOf(port), Site(listens), Database, Taking(), Clock, NullLogger<ConfirmationsStage>.Instance, new Random(1));
        IReadOnlyList<Work> batch = await Database.LeaseAsync(Stage.Confirmations, Archive, 100, TimeSpan.FromMinutes(1), Cancellation);
        Task running = stage.RunAsync(batch, Cancellation);
        if (turns)
        {
            await Clock.TurnUntilDoneAsync(running, Cancellation);
        }

        await running;
        return batch.Count;
    }

    private async Task<CommitmentReceipt> TakeAsync(CommitmentReport report) => await Taking().TakeAsync(report, Cancellation);

    private CommitmentTaking Taking() => new(Database, _signal, NullLogger.Instance);

    private async Task<IReadOnlyList<Confirmation>> ConfirmationsAsync() =>
        [.. (await Database.GetReportAsync(null, Cancellation)).SelectMany(report => report.Deliveries).Select(delivery => delivery.Confirmation).OfType<Confirmation>()];

    private static SiteConfiguration Site(bool listens) =>
        Site() with { Listen = listens ? new ListenConfiguration { Port = 1 } : null };

    private static DestinationConfiguration DestinationOf(int port) => new()
    {
        Peer = new PeerConfiguration { Name = Archive, Host = "127.0.0.1", Port = port, CalledAETitle = "ARCHIVE" },
        Associations = 1,
    };
}
