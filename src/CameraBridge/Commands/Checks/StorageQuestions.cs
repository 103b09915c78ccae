using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Pipeline.Confirmations;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Commands.Checks;

/// <summary>What an archive takes: the objects of the site's optics, and what shows that it keeps them, as its <c>confirm_by</c> needs it.</summary>
internal sealed class StorageQuestions(SiteConfiguration site, DestinationConfiguration destination) : IPeerQuestions
{
    /// <summary>What the optics of the site's sources make, first in the syntax that most pictures and clips have, and the two commonest kinds.</summary>
    private readonly (string SOPClassUID, string TransferSyntaxUID, string Words, bool IsClip)[] _stored = StoredBy(site);

    public string Kind => "archive";

    public string Step => $"destination {destination.Name}";

    public IReadOnlyList<string> Parts => ["contexts", "commitment", "query"];

    public IReadOnlyList<ContextProposal> Contexts =>
        [.. _stored.Select(stored => new ContextProposal(stored.SOPClassUID, stored.TransferSyntaxUID)), .. ArchiveQuestions.Proposals];

    public async Task AskAsync(Association association, ICollection<CheckLine> lines, CancellationToken cancellation)
    {
        AskContexts(association, lines);
        bool commits = Takes(association, SopClasses.StorageCommitmentPushModel);
        bool answers = Takes(association, SopClasses.StudyRootQueryRetrieveInformationModelFind);
        lines.Add(Commitment(association, commits, answers));
        lines.Add(await QueryAsync(association, commits, answers, cancellation).ConfigureAwait(false));
    }

    private static bool Takes(Association association, string SOPClassUID) => association.Contexts.Any(context => context.AbstractSyntaxUID == SOPClassUID);

    private void AskContexts(Association association, ICollection<CheckLine> lines)
    {
        StoreUser user = new(association);
        foreach ((string uid, string syntax, string words, bool isClip) in _stored)
        {
            string syntaxWords = isClip ? "H.264 High@4.1" : "JPEG Baseline";
            lines.Add(
                user.CanStore(uid, syntax) ? Line("contexts", CheckOutcome.Ok, $"takes {words} as {syntaxWords}")
                : isClip ? Line(
                    "contexts",
                    CheckOutcome.Hint,
                    $"does not take {words} as {syntaxWords} ({PeerChecks.Refusal(association, uid)})",
                    $"If the cameras of the site make clips, allow SOP class {uid} with transfer syntax {syntax} there.")
                : Line(
                    "contexts",
                    CheckOutcome.Failed,
                    $"does not take {words} as {syntaxWords} ({PeerChecks.Refusal(association, uid)})",
                    $"Allow SOP class {uid} with transfer syntax {syntax} there; pictures are never re-encoded to please a peer."));
        }
    }

    /// <summary>Whether it takes requests for storage commitment, and whether its reports can come back (PS3.4 sections J.3.2 and J.3.3).</summary>
    private CheckLine Commitment(Association association, bool commits, bool answers)
    {
        const string Part = "commitment";
        const string Unheard = "takes requests for storage commitment; a report that it brings in an association of its own finds nobody, since nothing is written under listen";
        if (!commits)
        {
            string refusal = $"takes no requests for storage commitment ({PeerChecks.Refusal(association, SopClasses.StorageCommitmentPushModel)})";
            return destination.ConfirmBy switch
            {
                ConfirmBy.Commitment => Line(
                    Part, CheckOutcome.Failed, $"{refusal}, and confirm_by: commitment takes nothing else", "Enable storage commitment there for our AE title, or write confirm_by: query."),
                ConfirmBy.Auto => Line(Part, CheckOutcome.Ok, answers ? $"{refusal}; it is asked by query" : refusal),
                _ => Line(Part, CheckOutcome.Ok, $"{refusal}; confirm_by: {Word(destination.ConfirmBy)} does not need it"),
            };
        }

        bool isUsed = destination.ConfirmBy is ConfirmBy.Auto or ConfirmBy.Commitment;
        return isUsed && site.Listen is null
            ? Line(Part, CheckOutcome.Hint, Unheard, destination.ConfirmBy == ConfirmBy.Auto && answers
                ? "Write listen, and enter this gateway there; without it, the archive is asked by query when it does not report at once."
                : "Write listen, and enter this gateway there by AE title, address and port.")
            : Line(Part, CheckOutcome.Ok, $"takes requests for storage commitment{(isUsed ? "" : $"; confirm_by: {Word(destination.ConfirmBy)} does not use it")}");
    }

    /// <summary>Asks for an object that cannot be there: proves that our AE title may query, and changes nothing.</summary>
    private async Task<CheckLine> QueryAsync(Association association, bool commits, bool answers, CancellationToken cancellation)
    {
        const string Part = "query";
        if (!answers)
        {
            string refusal = $"takes no queries (C-FIND, Study Root; {PeerChecks.Refusal(association, SopClasses.StudyRootQueryRetrieveInformationModelFind)})";
            return destination.ConfirmBy switch
            {
                ConfirmBy.Query => Line(
                    Part, CheckOutcome.Failed, $"{refusal}, and confirm_by: query takes nothing else", "Enable queries there for our AE title, or write confirm_by: commitment."),
                ConfirmBy.Auto when !commits => Line(
                    Part,
                    CheckOutcome.Failed,
                    $"{refusal} and no storage commitment: what it stores will never count as kept",
                    "Enable one of the two there for our AE title; or write confirm_by: none, if the site takes its word and nothing is to be released on it."),
                _ => Line(Part, CheckOutcome.Ok, $"{refusal}; confirm_by: {Word(destination.ConfirmBy)} does without"),
            };
        }

        string nowhere = Uids.NewFromUuid();
        QueryAnswer answer = await ArchiveQuestions.FindSeriesAsync(association, nowhere, nowhere, [], cancellation).ConfigureAwait(false);
        bool isNeeded = destination.ConfirmBy == ConfirmBy.Query || (destination.ConfirmBy == ConfirmBy.Auto && !commits);
        return answer.Failure is not { } failure
            ? Line(Part, CheckOutcome.Ok, "answers queries for images (C-FIND, Study Root)")
            : Line(
                Part,
                isNeeded ? CheckOutcome.Failed : CheckOutcome.Hint,
                failure.TrimEnd('.'),
                isNeeded ? "Look into its log, and allow our AE title to query; nothing counts as kept before." : "Harmless while the archive commits to keeping objects; its log says what it did not like.");
    }

    private CheckLine Line(string part, CheckOutcome outcome, string words, string? next = null) => new($"{Step}: {part}", outcome, words, next);

    private static string Word(ConfirmBy confirmBy) => confirmBy.ToString().ToLowerInvariant();

    private static (string SOPClassUID, string TransferSyntaxUID, string Words, bool IsClip)[] StoredBy(SiteConfiguration site)
    {
        IEnumerable<OpticClass> classes = site.Sources.Select(source => site.Optics.TryFind(source.Optic, out Optic? optic) ? optic : null).OfType<Optic>()
            .SelectMany(optic => new[] { optic.Still, optic.Clip })
            .Concat([OpticClass.Find("endoscopic", CaptureKind.Still)!, OpticClass.Find("photographic", CaptureKind.Still)!])
            .Distinct();
        return
        [
            .. classes.OrderBy(one => one.Kind).ThenBy(one => one.SOPClassUID, StringComparer.Ordinal).Select(one => (
                one.SOPClassUID,
                one.Kind == CaptureKind.Clip ? TransferSyntaxes.MPEG4HP41 : TransferSyntaxes.JPEGBaseline8Bit,
                UidRegistry.Find(one.SOPClassUID)!.Name.Replace(" Storage", "", StringComparison.Ordinal),
                one.Kind == CaptureKind.Clip)),
        ];
    }
}
