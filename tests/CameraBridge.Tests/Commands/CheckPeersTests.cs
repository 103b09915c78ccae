using System.Globalization;
using System.Net;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Commands;

/// <summary>
/// What <c>check</c> tells of peers that nobody here wrote: Orthanc 1.10.1 commits and answers queries, dcmtk's storescp 3.6.7 only receives, and npm's dcmjs-dimse 0.3.3
/// takes performed procedure steps.
/// </summary>
public sealed class CheckPeersTests : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("cb-check-").FullName;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    [Theory]
    [InlineData("auto")]
    [InlineData("commitment")]
    [InlineData("query")]
    public async Task An_archive_that_commits_and_answers_queries_is_well_with_every_way(string confirmBy)
    {
        await using OrthancPeer orthanc = await OrthancPeer.StartAsync(Path.Combine(_folder, "orthanc"));
        int port = PeerProcess.FreePort();

        TestTerminal run = await CheckAsync(Destination(orthanc.DicomPort, OrthancPeer.AETitle, confirmBy), $"listen: {{ port: {port}, address: 127.0.0.1 }}");

        Assert.Equal(0, run.ExitCode);
        string[] words = Words(run);
        Assert.Contains("ok destination archive: contexts: takes VL Photographic Image as JPEG Baseline", words);
        Assert.Contains(words, line => line.StartsWith("ok destination archive: commitment: takes requests for storage commitment", StringComparison.Ordinal));
        Assert.Contains("ok destination archive: query: answers queries for images (C-FIND, Study Root)", words);
        Assert.Contains($"ok listen: 127.0.0.1:{port} can be had; archives must call CAMBRIDGE at 127.0.0.1, port {port}", words);
    }

    [Theory]
    [InlineData("auto", "ok destination archive: query: answers QIDO-RS")]
    [InlineData("retrieval", "ok destination archive: retrieval: answers WADO-RS")]
    public async Task A_web_archive_is_asked_by_the_way_that_is_to_show_that_it_keeps_objects(string confirmBy, string beginning)
    {
        await using OrthancPeer orthanc = await OrthancPeer.StartAsync(Path.Combine(_folder, "orthanc"));

        TestTerminal run = await CheckAsync($"{{ name: archive, url: '{orthanc.DicomWebRoot}', confirm_by: {confirmBy} }}");

        Assert.Equal(0, run.ExitCode);
        Assert.Contains(Words(run), line => line.StartsWith(beginning, StringComparison.Ordinal));
    }

    [Theory]
    [InlineData("none", 405, 0, "hint")]
    [InlineData("query", 405, 4, "failed")]
    [InlineData("none", 401, 4, "failed")]
    public async Task A_web_archive_that_answers_no_queries_is_an_error_where_they_are_needed(string confirmBy, int status, int exitCode, string outcome)
    {
        await using ScriptedWebPeer server = new(request => request.AnswerAsync(status));

        TestTerminal run = await CheckAsync($"{{ name: archive, url: '{server.Root}', confirm_by: {confirmBy} }}");

        Assert.Equal(exitCode, run.ExitCode);
        Assert.Contains(Words(run), line => line.StartsWith($"{outcome} destination archive: query: ", StringComparison.Ordinal));
    }

    [Fact]
    public async Task A_report_that_nobody_would_hear_is_told()
    {
        await using OrthancPeer orthanc = await OrthancPeer.StartAsync(Path.Combine(_folder, "orthanc"));

        TestTerminal run = await CheckAsync(Destination(orthanc.DicomPort, OrthancPeer.AETitle, "commitment"));

        Assert.Equal(0, run.ExitCode);
        Assert.Contains(Words(run), line => line.StartsWith("hint destination archive: commitment: takes requests for storage commitment; a report", StringComparison.Ordinal));
        Assert.Contains("Write listen", NextStep(run, "destination archive: commitment"), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("commitment", "destination archive: commitment", "Enable storage commitment there")]
    [InlineData("query", "destination archive: query", "Enable queries there")]
    [InlineData("auto", "destination archive: query", "Enable one of the two there")]
    public async Task A_receiver_that_cannot_show_that_it_keeps_anything_is_an_error_with_a_next_step(string confirmBy, string step, string next)
    {
        await using PeerProcess receiver = await PeerProcess.StartReceiverAsync(null, "--fork");

        TestTerminal run = await CheckAsync(Destination(receiver.Port, "PEERSTORE", confirmBy));

        Assert.Equal(4, run.ExitCode);
        Assert.Equal(step, Assert.Single(Words(run), line => line.StartsWith("failed", StringComparison.Ordinal))["failed ".Length..][..step.Length]);
        Assert.StartsWith(next, NextStep(run, step), StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_receiver_that_is_taken_at_its_word_is_well()
    {
        await using PeerProcess receiver = await PeerProcess.StartReceiverAsync(null, "--fork");

        TestTerminal run = await CheckAsync(Destination(receiver.Port, "PEERSTORE", "none"));

        Assert.Equal(0, run.ExitCode);
        Assert.Contains(Words(run), line => line.StartsWith("ok destination archive: commitment: takes no requests for storage commitment", StringComparison.Ordinal));
    }

    [Fact]
    public async Task A_RIS_that_takes_performed_steps_is_well_and_one_that_does_not_is_an_error()
    {
        await using PeerProcess ris = await NodePeer.StartAsync();
        await using PeerProcess receiver = await PeerProcess.StartReceiverAsync(null, "--fork");
        string destination = Destination(receiver.Port, "PEERSTORE", "none");

        TestTerminal takes = await CheckAsync(destination, Ris(ris.Port, NodePeer.AETitle));
        TestTerminal refuses = await CheckAsync(destination, Ris(receiver.Port, "PEERSTORE"));
        TestTerminal away = await CheckAsync(destination, Ris(PeerProcess.FreePort(), "PEERRIS"));

        Assert.Equal((0, 4, 4), (takes.ExitCode, refuses.ExitCode, away.ExitCode));
        Assert.Contains("ok performed steps: steps: takes performed procedure steps (N-CREATE, N-SET)", Words(takes));
        Assert.Contains("failed performed steps: steps: takes no performed procedure steps (it does not know the SOP class)", Words(refuses));
        Assert.Contains("take performed_step out", NextStep(refuses, "performed steps: steps"), StringComparison.Ordinal);
        Assert.Contains("skipped performed steps: association, steps: not tried, since the step before failed", Words(away));
    }

    [Fact]
    public async Task A_port_that_the_running_service_has_is_well_and_one_that_another_program_has_is_not()
    {
        await using PeerProcess receiver = await PeerProcess.StartReceiverAsync(null, "--fork");
        var service = Provider.Start(new ProviderOptions
        {
            EndPoint = new IPEndPoint(IPAddress.Loopback, 0),
            Acceptor = new AcceptorOptions { Offers = [CommitmentReports.Offer], CalledAETitles = ["CAMBRIDGE"] },
        });
        await using (service)
        {
            string destination = Destination(receiver.Port, "PEERSTORE", "none");

            TestTerminal own = await CheckAsync(destination, $"listen: {{ port: {service.EndPoint.Port}, address: 127.0.0.1 }}");
            TestTerminal renamed = await CheckAsync(destination, $"listen: {{ port: {service.EndPoint.Port}, address: 127.0.0.1, ae_title: ANOTHER }}");
            TestTerminal foreign = await CheckAsync(destination, $"listen: {{ port: {receiver.Port}, address: 127.0.0.1 }}");

            Assert.Equal((0, 4, 4), (own.ExitCode, renamed.ExitCode, foreign.ExitCode));
            Assert.Contains(Words(own), line => line.StartsWith($"ok listen: the running service listens on 127.0.0.1:{service.EndPoint.Port}", StringComparison.Ordinal));
            Assert.Contains(Words(renamed), line => line.StartsWith("failed listen: another program has 127.0.0.1", StringComparison.Ordinal));
            Assert.Contains(Words(foreign), line => line.Contains("it takes no reports of storage commitment", StringComparison.Ordinal));
        }
    }

    [Fact]
    public async Task An_address_of_another_machine_cannot_be_listened_on_and_the_own_ones_are_named()
    {
        await using PeerProcess receiver = await PeerProcess.StartReceiverAsync(null, "--fork");
        string destination = Destination(receiver.Port, "PEERSTORE", "none");

        // An address for documentation, RFC 5737 section 3.
        TestTerminal wrong = await CheckAsync(destination, $"listen: {{ port: {PeerProcess.FreePort()}, address: 192.0.2.1 }}");
        TestTerminal any = await CheckAsync(destination, $"listen: {{ port: {PeerProcess.FreePort()} }}");

        Assert.Equal((4, 0), (wrong.ExitCode, any.ExitCode));
        Assert.Contains("failed listen: 192.0.2.1 is no address of this machine", Words(wrong));
        Assert.Contains(Words(any), line => line.StartsWith("ok listen: 0.0.0.0:", StringComparison.Ordinal) && !line.Contains("at 0.0.0.0", StringComparison.Ordinal));
    }

    private static string Destination(int port, string title, string confirmBy) =>
        string.Create(CultureInfo.InvariantCulture, $"{{ name: archive, host: 127.0.0.1, port: {port}, called_ae_title: {title}, confirm_by: {confirmBy} }}");

    private static string Ris(int port, string title) =>
        string.Create(CultureInfo.InvariantCulture, $"performed_step: {{ host: 127.0.0.1, port: {port}, called_ae_title: {title}, connect_limit: 1 s }}");

    private async Task<TestTerminal> CheckAsync(string destination, string more = "")
    {
        Directory.CreateDirectory(Path.Combine(_folder, "spool"));
        string config = Path.Combine(_folder, "site.yaml");
        await File.WriteAllTextAsync(
            config,
            $"spool: {_folder}/spool\nstate: {_folder}/state.db\ncalling_ae_title: CAMBRIDGE\n{more}\ndestinations:\n  - {destination}\n",
            Cancellation);
        return await TestTerminal.RunAsync(Cancellation, "check", "--json", "--config", config);
    }

    private static string[] Words(TestTerminal run) => [.. run.Json().GetProperty("steps").EnumerateArray().Select(step =>
        $"{step.GetProperty("outcome").GetString()} {step.GetProperty("step").GetString()}: {step.GetProperty("words").GetString()}")];

    private static string NextStep(TestTerminal run, string step) =>
        run.Json().GetProperty("steps").EnumerateArray().Single(one => one.GetProperty("step").GetString() == step).GetProperty("next_step").GetString()!;
}
