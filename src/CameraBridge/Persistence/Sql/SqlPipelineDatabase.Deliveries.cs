using System.Data.Common;
using CameraBridge.Pipeline;

namespace CameraBridge.Persistence.Sql;

/// <summary>Deliveries, and what the operator sees.</summary>
internal abstract partial class SqlPipelineDatabase
{
    private const string DeliveryColumns =
        """
        d.id, d.imaging_object_id, d.destination, d.state, d.attempts, d.created_at, d.status, d.outcome,
        coalesce((select max(r.decided_at) from redeliveries r where r.delivery_id = d.id and r.state <> 'Waiting'), d.created_at),
        (select max(r.decided_at) from redeliveries r where r.delivery_id = d.id),
        k.state, k.way, k.asked, k.sent_again, k.words, k.created_at, k.finished_at
        """;

    private const int DeliveryColumnCount = 17;

    private const string DeliveryRows = "deliveries d left join confirmations k on k.delivery_id = d.id";

    private const string ObjectColumns =
        "o.id, o.capture_id, o.sitting_id, o.SOPClassUID, o.SOPInstanceUID, o.TransferSyntaxUID, o.StudyInstanceUID, o.SeriesInstanceUID, o.rank";

    private const int ObjectColumnCount = 9;

    /// <summary>Sittings that are held or wait for the worklist with a reason, and sittings with held captures.</summary>
    private const string HeldSittings =
        """
        s.state = 'Held'
        or (s.state = 'Closed' and exists (select 1 from matches m where m.sitting_id = s.id and m.step is null))
        or s.id in (select sitting_id from captures where state = 'Held')
        """;

    public Task<IReadOnlyList<DeliveryTask>> GetDeliveriesAsync(IReadOnlyList<Work> work, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<DeliveryTask>>(
            session =>
            {
                Dictionary<long, (Delivery Delivery, ImagingObject Object)> found = session.Query(
                    $"""
                    select {DeliveryColumns}, {ObjectColumns}, o.pieces
                    from {DeliveryRows} join imaging_objects o on o.id = d.imaging_object_id
                    where d.id in ids($1)
                    """,
                    reader => (
                        ReadDelivery(reader),
                        ReadObject(reader, DeliveryColumnCount) with
                        {
                            Pieces = StoredPieces.Read(reader.GetFieldValue<byte[]>(DeliveryColumnCount + ObjectColumnCount)),
                        }),
                    Ids(work.Select(piece => piece.SubjectId)))
                    .ToDictionary(row => row.Item1.Id);
                return [.. work.Where(piece => found.ContainsKey(piece.SubjectId))
                    .Select(piece => new DeliveryTask(piece, found[piece.SubjectId].Delivery, found[piece.SubjectId].Object))];
            },
            cancellation);

    public Task<IReadOnlyList<Work>> CompleteDeliveriesAsync(IReadOnlyList<DeliveryResult> results, CancellationToken cancellation) =>
        WriteAsync<IReadOnlyList<Work>>(
            session =>
            {
                var lost = new List<Work>();
                foreach (DeliveryResult result in results)
                {
                    bool waits = result.State == DeliveryState.Waiting;
                    bool held = waits
                        ? Postpone(session, result.Work, session.ToStateTime(result.DueAt), result.Tried) == 1
                        : Remove(session, result.Work);
                    if (!held)
                    {
                        lost.Add(result.Work);
                        continue;
                    }

                    session.Execute(
                        "update deliveries set state = $1, attempts = attempts + $2, status = $3, outcome = $4, finished_at = $5 where id = $6",
                        result.State.ToString(), result.Tried ? 1 : 0, result.Status is { } status ? (int)status : null, result.Outcome,
                        waits ? null : session.Now, result.Work.SubjectId);
                    if (result is { State: DeliveryState.Stored or DeliveryState.StoredWithWarning, ConfirmAt: { } confirmAt })
                    {
                        AskWhetherKept(session, result.Work.SubjectId, session.ToStateTime(confirmAt));
                    }
                }

                return lost;
            },
            cancellation);

    public Task<IReadOnlyList<HeldSitting>> GetHeldAsync(CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<HeldSitting>>(
            session => [.. session.Query($"select {SittingColumns} from sittings s where {HeldSittings} order by s.id", ReadSitting)
                .Select(sitting => new HeldSitting(sitting, LatestMatch(session, sitting.Id), CapturesOf(session, sitting.Id)))],
            cancellation);

    public Task<IReadOnlyList<SittingReport>> GetReportAsync(string? source, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<SittingReport>>(
            session => [.. session.Query($"select {SittingColumns} from sittings s where $1 is null or s.source = $1 order by s.id", ReadSitting, source)
                .Select(sitting => new SittingReport(
                    sitting,
                    LatestMatch(session, sitting.Id),
                    CapturesOf(session, sitting.Id),
                    session.Query(
                        $"""
                        select {DeliveryColumns} from {DeliveryRows} join imaging_objects o on d.imaging_object_id = o.id
                        where o.sitting_id = $1 order by d.id
                        """,
                        ReadDelivery, sitting.Id)))],
            cancellation);

    private static Delivery ReadDelivery(DbDataReader reader) => new()
    {
        Id = reader.GetInt64(0),
        ImagingObjectId = reader.GetInt64(1),
        Destination = reader.GetString(2),
        State = Word<DeliveryState>(reader, 3),
        Attempts = reader.GetInt32(4),
        CreatedAt = At(reader, 5),
        Status = reader.IsDBNull(6) ? null : (ushort)reader.GetInt32(6),
        Outcome = Text(reader, 7),
        QueuedAt = At(reader, 8),
        AskedAt = reader.IsDBNull(9) ? null : At(reader, 9),
        Confirmation = reader.IsDBNull(10) ? null : ReadConfirmation(reader, reader.GetInt64(0), 10),
    };

    /// <summary>The object of the row, without its pieces.</summary>
    private static ImagingObject ReadObject(DbDataReader reader, int first) => new()
    {
        Id = reader.GetInt64(first),
        CaptureId = reader.GetInt64(first + 1),
        SittingId = reader.GetInt64(first + 2),
        SOPClassUID = reader.GetString(first + 3),
        SOPInstanceUID = reader.GetString(first + 4),
        TransferSyntaxUID = reader.GetString(first + 5),
        StudyInstanceUID = reader.GetString(first + 6),
        SeriesInstanceUID = reader.GetString(first + 7),
        Rank = reader.GetInt32(first + 8),
        Pieces = [],
    };
}
