using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Pipeline.Confirmations;

namespace CameraBridge.Conformance;

/// <summary>The tables of the services that show whether archives keep objects, and of performed procedure steps, from what the program proposes, offers and judges by.</summary>
internal static class ServiceTables
{
    private static readonly DestinationConfiguration Archive = new();

    private static readonly PerformedStepConfiguration Ris = new() { Peer = new PeerConfiguration { Name = "", Host = "", Port = 104, CalledAETitle = "" } };

    public static string Contexts(IReadOnlyList<ContextProposal> proposals) => Markdown.Table(
        ["Abstract syntax", "Transfer syntax", "Role", "Extended negotiation"],
        proposals.Select(proposal => (IReadOnlyList<string>)
            [Named(proposal.AbstractSyntaxUID), Named(proposal.TransferSyntaxUID), proposal.Roles == ContextRoles.User ? "SCU" : "SCP", "none"]));

    /// <summary>What is accepted of archives that report.</summary>
    public static string ReportContexts() => Markdown.Table(
        ["Abstract syntax", "Transfer syntax", "Role", "Extended negotiation"],
        CommitmentReports.Offer.TransferSyntaxUIDs.Select(syntax => (IReadOnlyList<string>)
        [
            Named(CommitmentReports.Offer.AbstractSyntaxUID), Named(syntax), "SCU of the service; the archive is its SCP", "SCP/SCU role selection granted where it is asked for, and not needed",
        ]));

    public static string CommitmentParameters() => Markdown.Table(["Parameter", "Value"],
    [
        ["Objects in one request (N-ACTION)", $"up to {Number(ConfirmationsStage.MostInTransaction)}, each with a Transaction UID of its own"],
        ["The association is kept for a report", $"{Seconds(ArchiveQuestions.ReportCourtesy)} after the last request; a report may come in it at any time, for any transaction"],
        ["No report for this long: asked again under a new Transaction UID", $"`report_limit`, {Seconds(Archive.ReportLimit)}"],
        ["Transactions without a report, then a query instead", $"{Number(ConfirmationsStage.MostSilentTransactions)} with `confirm_by: auto` and where the archive takes queries; 1 where nothing is written under `listen`"],
        ["Sent again when not kept", $"up to {Number(DestinationConfiguration.SendAgainMost)} times, under the same UID; then a person is asked"],
        ["Given to a person", $"`give_up_after`, {Seconds(Archive.GiveUpAfter)}"],
    ]);

    /// <summary>How associations of archives are accepted.</summary>
    public static string AcceptorParameters()
    {
        AcceptorOptions options = new() { Offers = [CommitmentReports.Offer] };
        return Markdown.Table(["Parameter", "Value"],
        [
            ["Address and port", $"`listen.address` (by default {new ListenConfiguration { Port = 0 }.Address}) and `listen.port`; nothing listens without"],
            ["Called AE title", "`listen.ae_title`, else `calling_ae_title`; another is rejected"],
            ["Calling AE title", "any"],
            ["Associations at a time", Number(options.MaximumAssociations)],
            ["Maximum PDU length that is received", $"{Number(options.MaximumReceiveLength)} bytes"],
            ["Asynchronous operations", $"up to {Number(options.OperationsPerformed)} outstanding, answered in their order"],
            ["ARTIM timer", Seconds(options.Limits.Artim)],
            ["A peer may be silent for", Seconds(options.Limits.Idle)],
        ]);
    }

    /// <summary>The keys of the query that proves keeping.</summary>
    public static string ProofKeys()
    {
        DataSet keys = ArchiveQuestions.KeysOf("2.25.1", "2.25.2");
        return Markdown.Table(
            ["Key", "Tag", "VR", "Matching", "Judged here"],
            keys.Select(element => (IReadOnlyList<string>)
            [
                AttributePaths.KeywordOf(element.Tag), element.Tag.ToString(), $"{element.Vr}",
                element.IsEmpty ? "universal: to be told" : element.Tag == Tags.QueryRetrieveLevel ? $"{keys.GetString(element.Tag)}" : "single value",
                element.Tag == Tags.QueryRetrieveLevel ? "" : element.Tag == Tags.SOPInstanceUID ? "must be that of the object" : "what is told must be that of the object",
            ]));
    }

    public static string ProofParameters() => Markdown.Table(["Parameter", "Value"],
    [
        ["Not found: looked for again", $"after {string.Join(", ", ConfirmationsStage.IndexPauses.Select(Seconds))}; then it counts as missing and is sent again, up to {Number(DestinationConfiguration.SendAgainMost)} times"],
        ["Matches that are taken for one series", Number(ArchiveQuestions.MostMatches)],
        ["Given to a person", $"`give_up_after`, {Seconds(Archive.GiveUpAfter)}"],
    ]);

    public static string StepParameters() => Markdown.Table(["Parameter", "Value"],
    [
        ["First pause after a failure", $"`performed_step.first_retry_delay`, {Seconds(Ris.FirstRetryDelay)}; doubled up to `longest_retry_delay`, {Seconds(Ris.LongestRetryDelay)}"],
        ["Given up", $"`performed_step.give_up_after`, {Seconds(Ris.GiveUpAfter)}"],
        ["Reason where nothing became an object (CID 9300)", $"{DiscontinuationReasons.Unspecified.Meaning} ({DiscontinuationReasons.Unspecified.Value}, {DiscontinuationReasons.Unspecified.Scheme})"],
    ]);

    /// <summary>What each status of a service leads to.</summary>
    public static string StatusRows(string service) => Markdown.Table(
        ["Status", "Class", "Meaning", "What is done"],
        Statuses.All.Where(status => status.Service == service).Select(status => (IReadOnlyList<string>)
            [status.Code, status.Class.ToString(), status.Meaning, Advice(service, status)]));

    private static string Advice(string service, StatusEntry status) => (service, status.Advice, status.Class) switch
    {
        ("C-FIND", StatusAdvice.Done, StatusClass.Cancel) => "the question counts as answered in part: the sitting is held",
        ("C-FIND", StatusAdvice.Done, StatusClass.Pending) => "the answer is taken",
        ("C-FIND", StatusAdvice.Done, _) => "the answers are judged",
        ("C-FIND", _, _) => "the sitting is held with the status; the worklist is asked again after `worklist.retry_after`",
        ("N-ACTION", StatusAdvice.Done, _) => "the report is waited for; nothing is confirmed by it",
        ("N-ACTION", _, _) => "asked again under a new Transaction UID after growing pauses",
        ("commitment", StatusAdvice.Send, _) => "the same bytes are sent again under the same UID",
        ("commitment", _, _) => "asked again under a new Transaction UID, until `give_up_after`; then a person is asked",
        ("N-CREATE" or "N-SET", StatusAdvice.Done, _) => "told",
        ("N-CREATE", StatusAdvice.Ask, _) => "counts as told: the answer to an earlier attempt was lost",
        ("N-SET", StatusAdvice.Ask, _) => "where an end was sent before, counts as told; else refused",
        ("N-CREATE" or "N-SET", StatusAdvice.Later, _) => "told again after growing pauses",
        ("N-CREATE" or "N-SET", _, _) => "refused: shown to a person; pictures go on",
        (_, StatusAdvice.Done, StatusClass.Pending or StatusClass.Cancel) => "as its service says; to an object it counts as no answer",
        (_, StatusAdvice.Done, StatusClass.Warning) => "counts as stored; logged as a warning",
        (_, StatusAdvice.Done, _) => "stored",
        (_, StatusAdvice.Later, _) => "sent again, the same bytes, after growing pauses, until `give_up_after`",
        (_, StatusAdvice.Ask, _) => "counts as stored with a warning: the UID is ours and the bytes are always the same",
        _ => "refused: not sent again by itself; shown by `deliveries list`",
    };

    /// <summary>What archives are answered to their reports.</summary>
    public static string ReportAnswers() => Markdown.Table(
        ["Status", "Class", "Answered when"],
        Statuses.All.Where(status => status.Service == "N-EVENT-REPORT").Select(status => (IReadOnlyList<string>)
        [
            status.Code, status.Class.ToString(), (status.Class, status.Advice) switch
            {
                (StatusClass.Success, _) => $"{status.Meaning}: what it says is stored",
                (_, StatusAdvice.Later) => $"{status.Meaning}: what it says could not be stored; the archive may report again",
                _ => status.Meaning,
            },
        ]));

    public static string Seconds(TimeSpan span) => span.TotalSeconds.ToString("#,0.###", CultureInfo.InvariantCulture) + " s";

    private static string Named(string uid) => $"{UidRegistry.NameOf(uid)} ({uid})";

    private static string Number(int number) => number.ToString("#,0", CultureInfo.InvariantCulture);
}
