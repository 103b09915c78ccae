using System.Data.Common;
using System.Text.Json;
using CameraBridge.Pipeline;

namespace CameraBridge.Persistence.Sql;

/// <summary>What is not delivered, and a person's word to send it again.</summary>
internal abstract partial class SqlPipelineDatabase
{
    private const string QueuedAgain = "A person had it put into the queue again; it was not tried since.";

    /// <summary>Whether a delivery waits for a time to come: $1 is now.</summary>
    private const string IsLater = "(d.state = 'Waiting' and w.owner is null and w.due_at > $1)";

    /// <summary>The deliveries d that are not delivered, their work w if any, their objects o: of the destinations $2 and the sitting $3, null for all.</summary>
    private const string UndeliveredRows =
        """
        from (select subject_id as id from work where stage = 'Deliveries' union select id from deliveries where state in ('Refused', 'GivenUp')) u
        join deliveries d on d.id = u.id
        join imaging_objects o on o.id = d.imaging_object_id
        left join work w on w.stage = 'Deliveries' and w.subject_id = d.id
        """;

    private const string UndeliveredOnly =
        """
        where d.state in ('Waiting', 'Refused', 'GivenUp')
            and ($2 is null or d.destination in texts($2)) and ($3 is null or o.sitting_id = $3)
        """;

    public Task<IReadOnlyList<Undelivered>> GetUndeliveredAsync(IReadOnlyList<string>? destinations, long? sittingId, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<Undelivered>>(session => UndeliveredOf(session, destinations, sittingId), cancellation);

    public Task<IReadOnlyList<Undelivered>> SendAgainAsync(
        IReadOnlyList<string> destinations, long? sittingId, string decidedBy, CancellationToken cancellation) =>
        WriteAsync<IReadOnlyList<Undelivered>>(
            session =>
            {
                List<Undelivered> changed = [.. UndeliveredOf(session, destinations, sittingId).Where(some => some.CanBeAskedFor)];
                string ids = Ids(session.Query(
                    $"select d.id {UndeliveredRows} {UndeliveredOnly} and (d.state <> 'Waiting' or {IsLater})",
                    reader => reader.GetInt64(0),
                    session.Now, Names(destinations), sittingId));
                session.Execute(
                    """
                    insert into redeliveries (delivery_id, state, status, outcome, decided_by, decided_at)
                    select id, state, status, outcome, $2, $3 from deliveries where id in ids($1) order by id
                    """,
                    ids, decidedBy, session.Now);

                // What has ended has no work; were there any, the unique index on its subject would end this transaction.
                session.Execute(
                    """
                    insert into work (stage, subject_id, lane, spool, created_at, due_at, rank)
                    select 'Deliveries', d.id, case when o.rank = 2 then d.destination || ' clips' else d.destination end, s.spool, $2, $2, o.rank
                    from deliveries d join imaging_objects o on o.id = d.imaging_object_id join sittings s on s.id = o.sitting_id
                    where d.id in ids($1) and d.state in ('Refused', 'GivenUp') order by d.id
                    """,
                    ids, session.Now);
                session.Execute(
                    """
                    update deliveries set state = 'Waiting', status = null, outcome = $2, finished_at = null
                    where id in ids($1) and state in ('Refused', 'GivenUp')
                    """,
                    ids, QueuedAgain);
                session.Execute(
                    """
                    update work set due_at = $2
                    where stage = 'Deliveries' and subject_id in ids($1) and owner is null and due_at > $2
                    """,
                    ids, session.Now);
                return changed;
            },
            cancellation);

    private static List<Undelivered> UndeliveredOf(StateSession session, IReadOnlyList<string>? destinations, long? sittingId) =>
        session.Query(
            $"""
            select o.sitting_id, s.source, s.folder, d.destination, d.state, d.status, d.outcome, count(*), min(d.created_at),
                min(case when {IsLater} then w.due_at end), r.decided_by, max(r.decided_at),
                (select count(*) from imaging_objects has join deliveries done on done.imaging_object_id = has.id
                 where has.sitting_id = o.sitting_id and done.destination = d.destination and done.state in ('Stored', 'StoredWithWarning'))
            {UndeliveredRows}
            join sittings s on s.id = o.sitting_id
            left join redeliveries r on r.id = (select max(id) from redeliveries where delivery_id = d.id)
            {UndeliveredOnly}
            group by o.sitting_id, s.source, s.folder, d.destination, d.state, {IsLater}, d.status, d.outcome, r.decided_by
            order by o.sitting_id, d.destination, d.state, count(*) desc, min(d.id)
            """,
            ReadUndelivered,
            session.Now, destinations is null ? null : Names(destinations), sittingId);

    private static string Names(IReadOnlyList<string> names) => JsonSerializer.Serialize(names);

    private static Undelivered ReadUndelivered(DbDataReader reader) => new()
    {
        SittingId = reader.GetInt64(0),
        Source = reader.GetString(1),
        Folder = reader.GetString(2),
        Destination = reader.GetString(3),
        State = Word<DeliveryState>(reader, 4),
        Status = reader.IsDBNull(5) ? null : (ushort)reader.GetInt32(5),
        Outcome = Text(reader, 6),
        Count = reader.GetInt32(7),
        Since = At(reader, 8),
        NextAttemptAt = reader.IsDBNull(9) ? null : At(reader, 9),
        AskedBy = Text(reader, 10),
        AskedAt = reader.IsDBNull(11) ? null : At(reader, 11),
        Delivered = reader.GetInt32(12),
    };
}
