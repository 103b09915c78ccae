using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Confirmations;

/// <summary>What a query said of the objects it was about.</summary>
/// <param name="Listed">SOP Instance UIDs that the archive has under our study, series and class.</param>
/// <param name="Failure">Why the answer does not count, or null.</param>
internal sealed record QueryAnswer(IReadOnlySet<string> Listed, string? Failure);

/// <summary>One association in which an archive is asked whether it keeps objects, by storage commitment and by query, whichever it takes.</summary>
internal sealed class ArchiveQuestions : IAsyncDisposable
{
    /// <summary>How long the association is kept for a report that comes in it; later ones come in associations of the archive.</summary>
    public static readonly TimeSpan ReportCourtesy = TimeSpan.FromSeconds(2);

    /// <summary>More objects than this in one series are no answer to a question about a sitting.</summary>
    public const int MostMatches = 20_000;

    private static readonly string[] NativeSyntaxes = [TransferSyntaxes.ExplicitVRLittleEndian, TransferSyntaxes.ImplicitVRLittleEndian];

    private readonly Association _association;
    private readonly CommitmentUser? _commitment;

    private ArchiveQuestions(Association association, CommitmentTaking taking)
    {
        _association = association;
        _commitment = Takes(SopClasses.StorageCommitmentPushModel) ? new CommitmentUser(association, taking.Reports) : null;
    }

    /// <summary>The presentation contexts that are proposed.</summary>
    public static IReadOnlyList<ContextProposal> Proposals { get; } =
        [.. CommitmentUser.Proposals, .. NativeSyntaxes.Select(syntax => new ContextProposal(SopClasses.StudyRootQueryRetrieveInformationModelFind, syntax))];

    /// <summary>The archive as sentences name it.</summary>
    public string PeerName => _association.PeerName;

    public bool TakesCommitment => _commitment is not null;

    public bool TakesQuery => Takes(SopClasses.StudyRootQueryRetrieveInformationModelFind);

    /// <exception cref="AssociationException">There is no association to be had.</exception>
    public static async Task<ArchiveQuestions> ConnectAsync(
        PeerConfiguration peer, string callingAETitle, CommitmentTaking taking, TimeProvider clock, CancellationToken cancellation)
    {
        Association association = await Association.RequestAsync(
            new AssociationOptions
            {
                Host = peer.Host,
                Port = peer.Port,
                CalledAETitle = peer.CalledAETitle,
                CallingAETitle = peer.CallingAETitle ?? callingAETitle,
                PeerKind = "archive",
                Contexts = Proposals,
                Limits = AssociationLimits.Default with
                {
                    Connect = peer.ConnectLimit,
                    Associate = peer.ResponseLimit,
                    Response = peer.ResponseLimit,
                    Write = peer.ResponseLimit,
                    Report = ReportCourtesy,
                },
                TimeProvider = clock,
            },
            cancellation).ConfigureAwait(false);
        return new ArchiveQuestions(association, taking);
    }

    /// <summary>Asks for commitment; the Transaction UID must be stored.</summary>
    /// <returns>The archive's answer to the request, which says nothing of the objects.</returns>
    /// <exception cref="AssociationException">The association broke.</exception>
    public Task<DimseReply> RequestCommitmentAsync(string TransactionUID, IEnumerable<ConfirmationTask> tasks, CancellationToken cancellation) =>
        _commitment!.RequestAsync(
            new CommitmentRequest(TransactionUID, [.. tasks.Select(task => new ReferencedInstance(task.Object.SOPClassUID, task.Object.SOPInstanceUID))]), cancellation);

    /// <summary>Waits a moment for a report in this association; the report is stored by then.</summary>
    public Task AwaitReportAsync(string TransactionUID, CancellationToken cancellation) => _commitment!.WaitForReportAsync(TransactionUID, cancellation);

    /// <summary>Asks what the archive has of one series (PS3.4 section C.4.1, Study Root, level IMAGE).</summary>
    /// <exception cref="AssociationException">The association broke.</exception>
    public Task<QueryAnswer> FindSeriesAsync(string StudyInstanceUID, string SeriesInstanceUID, IReadOnlyList<ImagingObject> objects, CancellationToken cancellation) =>
        FindSeriesAsync(_association, StudyInstanceUID, SeriesInstanceUID, objects, cancellation);

    /// <summary>The identifier of that query: what is asked by value, and what is to be told.</summary>
    public static DataSet KeysOf(string StudyInstanceUID, string SeriesInstanceUID)
    {
        DataSet keys = new();
        keys.Set(Tags.QueryRetrieveLevel, "IMAGE");
        keys.Set(Tags.StudyInstanceUID, StudyInstanceUID);
        keys.Set(Tags.SeriesInstanceUID, SeriesInstanceUID);
        keys.SetEmpty(Tags.SOPInstanceUID);
        keys.SetEmpty(Tags.SOPClassUID);
        return keys;
    }

    /// <summary>The same in an association that was made for more than that.</summary>
    /// <exception cref="AssociationException">The association broke, or the archive takes no queries.</exception>
    public static async Task<QueryAnswer> FindSeriesAsync(
        Association association, string StudyInstanceUID, string SeriesInstanceUID, IReadOnlyList<ImagingObject> objects, CancellationToken cancellation)
    {
        DataSet keys = KeysOf(StudyInstanceUID, SeriesInstanceUID);
        FindResult result = await new FindUser(association)
            .FindAllAsync(SopClasses.StudyRootQueryRetrieveInformationModelFind, keys, MostMatches, cancellation).ConfigureAwait(false);
        if (result.Final.Meaning.Class != StatusClass.Success)
        {
            return new QueryAnswer(new HashSet<string>(), $"The {association.PeerName} answered the query with {result.Final}.");
        }

        // Archives that ignore a key answer with more than was asked for; only an item that agrees in everything it says speaks of our object.
        Dictionary<string, string> classes = objects.ToDictionary(made => made.SOPInstanceUID, made => made.SOPClassUID, StringComparer.Ordinal);
        return new QueryAnswer(
            result.Matches.Select(match => match.Identifier)
                .Where(item => Agrees(item, Tags.StudyInstanceUID, StudyInstanceUID) && Agrees(item, Tags.SeriesInstanceUID, SeriesInstanceUID))
                .Where(item => item.GetString(Tags.SOPInstanceUID) is { } uid && classes.TryGetValue(uid, out string? sopClass) && Agrees(item, Tags.SOPClassUID, sopClass))
                .Select(item => item.GetString(Tags.SOPInstanceUID)!)
                .ToHashSet(StringComparer.Ordinal),
            null);
    }

    public async ValueTask DisposeAsync()
    {
        try
        {
            if (_association.IsOpen)
            {
                await _association.ReleaseAsync(CancellationToken.None).ConfigureAwait(false);
            }
        }
        catch (AssociationException)
        {
            // All answers are there; a peer that does not say goodbye changes nothing.
        }

        await _association.DisposeAsync().ConfigureAwait(false);
    }

    /// <summary>Whether what an archive tells of an attribute, if it tells anything, is this value.</summary>
    public static bool Agrees(DataSet item, Tag tag, string value) => item.GetString(tag) is not { Length: > 0 } told || told == value;

    private bool Takes(string sopClass) => _association.Contexts.Any(context => context.AbstractSyntaxUID == sopClass);
}
