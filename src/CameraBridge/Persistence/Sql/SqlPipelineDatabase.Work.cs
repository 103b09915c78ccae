using System.Data.Common;
using CameraBridge.Pipeline;

namespace CameraBridge.Persistence.Sql;

/// <summary>Work and its leases.</summary>
internal abstract partial class SqlPipelineDatabase
{
    private const string InsertWork = "insert into work (stage, subject_id, lane, created_at, due_at) values ($1, $2, $3, $4, $5)";

    private const string InsertCuesWork =
        """
        insert into work (stage, subject_id, lane, created_at, due_at, spool)
        values ($1, $2, $3, $4, $5, (select s.spool from captures c join sittings s on s.id = c.sitting_id where c.id = $2))
        """;

    private const string InsertObjectsWork =
        """
        insert into work (stage, subject_id, lane, created_at, due_at, spool) values ($1, $2, $3, $4, $5, (select spool from sittings where id = $2))
        """;

    /// <summary>Clips have a lane of their own beside the destination's.</summary>
    private const string InsertDeliveryWork =
        """
        insert into work (stage, subject_id, lane, created_at, due_at, spool, rank)
        select $1, d.id, case when o.rank = 2 then d.destination || ' clips' else d.destination end, $4, $5, s.spool, o.rank
        from deliveries d join imaging_objects o on o.id = d.imaging_object_id join sittings s on s.id = o.sitting_id where d.id = $2 and d.destination = $3
        """;

    private const string InsertConfirmationWork =
        """
        insert into work (stage, subject_id, lane, created_at, due_at, spool)
        values ($1, $2, $3, $4, $5, (
            select s.spool from deliveries d join imaging_objects o on o.id = d.imaging_object_id join sittings s on s.id = o.sitting_id where d.id = $2))
        """;

    private const int LowestRank = 2;

    public async Task<IReadOnlyList<Work>> LeaseAsync(Stage stage, string lane, int most, TimeSpan lease, CancellationToken cancellation)
    {
        // Looking costs nothing; only what will find something takes the write lock.
        string spool = SpoolFor(stage);
        (bool due, IReadOnlyList<string> freed) = await ReadAsync(
            session => (
                Enumerable.Range(0, LowestRank + 1).Any(rank => session.QueryNumber(
                    "select 1 from work where stage = $1 and lane = $2 and spool = $3 and rank = $4 and owner is null and due_at <= $5 limit 1",
                    stage.ToString(), lane, spool, rank, session.Now) is not null),
                OwnersToFree(session, stage, lane)),
            cancellation).ConfigureAwait(false);
        if (!due && freed.Count == 0)
        {
            return [];
        }

        return await ClaimAsync(
            session =>
            {
                foreach (string owner in freed)
                {
                    session.Execute(
                        $"""
                        with lapsed as (
                            select id from work where stage = $1 and lane = $2 and owner = $3 and (lease_until <= $4 or $5 = 1) {SkipLocked})
                        update work set owner = null, lease_until = null where id in (select id from lapsed)
                        """,
                        stage.ToString(), lane, owner, session.Now, LeaseOwner.IsKnownDead(owner) ? 1 : 0);
                }

                // The rows are chosen before any is changed: a subquery could be asked again for each row, and give more than the limit.
                // Rank by rank, so that each is found by the index however much waits for later.
                List<Work> leased = [];
                for (int rank = 0; rank <= LowestRank && leased.Count < most; rank++)
                {
                    leased.AddRange(session.Query(
                        $"""
                        with next as (
                            select id from work where stage = $3 and lane = $4 and spool = $5 and rank = $6 and owner is null and due_at <= $7
                            order by due_at, id limit $8 {SkipLocked})
                        update work set owner = $1, lease_until = $2, lease = lease + 1 where id in (select id from next)
                        returning id, stage, subject_id, lane, attempts, created_at, lease, due_at
                        """,
                        reader => (Work: ReadWork(reader), DueAt: reader.GetInt64(7)),
                        _owner, session.Now + lease.Ticks, stage.ToString(), lane, spool, rank, session.Now, most - leased.Count)
                        .OrderBy(row => row.DueAt).ThenBy(row => row.Work.Id).Select(row => row.Work));
                }

                return leased;
            },
            cancellation).ConfigureAwait(false);
    }

    public Task<IReadOnlyList<Work>> RenewAsync(IReadOnlyList<Work> work, TimeSpan lease, CancellationToken cancellation) =>
        ClaimAsync<IReadOnlyList<Work>>(
            session => [.. work.Where(piece => 1 == session.Execute(
                "update work set lease_until = $1 where id = $2 and owner = $3 and lease = $4", session.Now + lease.Ticks, piece.Id, _owner, piece.Lease))],
            cancellation);

    public async Task ReleaseAsync(IReadOnlyList<Work> work, CancellationToken cancellation)
    {
        string ids = Ids(work.Select(piece => piece.Id));
        bool any = await ReadAsync(
            session => session.QueryNumber("select 1 from work where id in ids($1) and owner = $2 limit 1", ids, _owner) is not null,
            cancellation).ConfigureAwait(false);
        if (any)
        {
            await ClaimAsync(
                session => work.Sum(piece => session.Execute(
                    "update work set owner = null, lease_until = null where id = $1 and owner = $2 and lease = $3", piece.Id, _owner, piece.Lease)),
                cancellation).ConfigureAwait(false);
        }
    }

    public Task PostponeAsync(IReadOnlyList<Work> work, DateTimeOffset dueAt, bool counts, CancellationToken cancellation) =>
        ClaimAsync(session => work.Sum(piece => Postpone(session, piece, session.ToStateTime(dueAt), counts)), cancellation);

    public Task PauseLaneAsync(Stage stage, string lane, DateTimeOffset until, CancellationToken cancellation) =>
        WriteAsync(
            session => session.Execute(
                "update work set due_at = $1 where stage = $2 and lane = $3 and owner is null and due_at < $1", session.ToStateTime(until), stage.ToString(), lane),
            cancellation);

    public Task WakeLaneAsync(Stage stage, string lane, CancellationToken cancellation) =>
        WriteAsync(
            session => session.Execute(
                "update work set due_at = $1 where stage = $2 and lane = $3 and owner is null and due_at > $1", session.Now, stage.ToString(), lane),
            cancellation);

    public Task<DateTimeOffset?> NextDueAsync(Stage stage, string lane, CancellationToken cancellation) =>
        ReadAsync<DateTimeOffset?>(
            session =>
            {
                string spool = SpoolFor(stage);
                if (OwnersToFree(session, stage, lane).Count > 0)
                {
                    return session.ToOwnTime(session.Now);
                }

                long? next = session.QueryNumber(
                    """
                    select min(at) from (
                        select min(due_at) as at from work where stage = $1 and lane = $2 and spool = $3 and rank = 0 and owner is null
                        union all select min(due_at) from work where stage = $1 and lane = $2 and spool = $3 and rank = 1 and owner is null
                        union all select min(due_at) from work where stage = $1 and lane = $2 and spool = $3 and rank = 2 and owner is null
                        union all select min(lease_until) from work where stage = $1 and lane = $2 and spool = $3 and owner is not null) as times
                    """,
                    stage.ToString(), lane, spool);
                return next is { } ticks ? session.ToOwnTime(ticks) : null;
            },
            cancellation);

    public Task<IReadOnlyDictionary<Stage, int>> CountWorkAsync(CancellationToken cancellation) =>
        ReadAsync<IReadOnlyDictionary<Stage, int>>(
            session =>
            {
                var counts = Enum.GetValues<Stage>().ToDictionary(stage => stage, _ => 0);
                foreach ((Stage stage, int count) in session.Query("select stage, count(*) from work group by stage", reader => (Word<Stage>(reader, 0), reader.GetInt32(1))))
                {
                    counts[stage] = count;
                }

                return counts;
            },
            cancellation);

    public Task<IReadOnlyList<OpenWork>> GetOpenWorkAsync(string? source, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<OpenWork>>(
            session => session.Query(
                """
                select stage, lane, case when spool in ('', $3) then 0 else 1 end,
                       sum(case when owner is null and due_at <= $2 then 1 else 0 end), sum(case when owner is not null then 1 else 0 end),
                       sum(case when owner is null and due_at > $2 then 1 else 0 end), min(case when owner is null then due_at else lease_until end)
                from work
                where $1 is null or $1 = case stage
                    when 'Cues' then (select source from captures where id = subject_id)
                    when 'PerformedSteps' then (select s.source from performed_steps p join sittings s on s.id = p.sitting_id where p.id = subject_id)
                    when 'Releases' then (select source from captures where id = subject_id)
                    when 'Deliveries' then (
                        select s.source from deliveries d join imaging_objects o on o.id = d.imaging_object_id join sittings s on s.id = o.sitting_id
                        where d.id = subject_id)
                    when 'Confirmations' then (
                        select s.source from deliveries d join imaging_objects o on o.id = d.imaging_object_id join sittings s on s.id = o.sitting_id
                        where d.id = subject_id)
                    else (select source from sittings where id = subject_id) end
                group by stage, lane, case when spool in ('', $3) then 0 else 1 end
                """,
                reader => new OpenWork(
                    Word<Stage>(reader, 0), reader.GetString(1), reader.GetInt32(3), reader.GetInt32(4), reader.GetInt32(5), At(reader, 6))
                {
                    IsElsewhere = reader.GetInt32(2) == 1,
                },
                source, session.Now, _spool?.TryGet() ?? "")
                .OrderBy(open => open.Stage).ThenBy(open => open.Lane, StringComparer.Ordinal).ThenBy(open => open.IsElsewhere).ToList(),
            cancellation);

    public Task<bool> HoldAsync(Work work, Reason reason, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                if (!Remove(session, work))
                {
                    return false;
                }

                switch (work.Stage)
                {
                    case Stage.Cues:
                        session.Execute("update captures set state = 'Held', held_reason = $1 where id = $2", reason.Words, work.SubjectId);
                        InsertCue(session, new Cue { CaptureId = work.SubjectId, Kind = CueKind.Unreadable, Finding = reason });
                        LetSittingsClose(session, [work.SubjectId]);
                        break;
                    case Stage.Sittings or Stage.Matches:
                        session.Execute("update sittings set state = 'Held', joinable = 0 where id = $1", work.SubjectId);
                        InsertMatch(session, new Match { SittingId = work.SubjectId, HeldReasons = [reason], DecidedAt = session.NowAt });
                        break;
                    case Stage.Objects:
                        session.Execute(
                            "update captures set state = 'Held', held_reason = $1 where sitting_id = $2 and state in ('Taken', 'Read')", reason.Words, work.SubjectId);
                        EndStep(session, work.SubjectId);
                        break;
                    case Stage.Deliveries:
                        session.Execute(
                            "update deliveries set state = 'GivenUp', outcome = $1, finished_at = $2 where id = $3", reason.Words, session.Now, work.SubjectId);
                        break;
                    case Stage.Confirmations:
                        GiveToPerson(session, work.SubjectId, null, reason.Words);
                        break;
                    case Stage.PerformedSteps:
                        session.Execute("update performed_steps set state = 'Refused', words = $1 where id = $2", reason.Words, work.SubjectId);
                        break;
                    case Stage.Releases:
                        // Nothing to hold: the source stays as it is.
                        break;
                    default:
                        throw new InvalidOperationException($"Stage {work.Stage} has no subject to hold.");
                }

                return true;
            },
            cancellation);

    /// <summary>Owners whose leases have lapsed or who are dead.</summary>
    private List<string> OwnersToFree(StateSession session, Stage stage, string lane) =>
        session.Query(
            "select owner, min(lease_until) from work where stage = $1 and lane = $2 and owner is not null group by owner",
            reader => (Owner: reader.GetString(0), Until: reader.GetInt64(1)),
            stage.ToString(), lane)
            .Where(lease => lease.Until <= session.Now || (lease.Owner != _owner && LeaseOwner.IsKnownDead(lease.Owner)))
            .Select(lease => lease.Owner)
            .ToList();

    private static Work ReadWork(DbDataReader reader) =>
        new(reader.GetInt64(0), Word<Stage>(reader, 1), reader.GetInt64(2), reader.GetString(3), reader.GetInt32(4), At(reader, 5)) { Lease = reader.GetInt64(6) };

    /// <summary>Whether the lease is still ours, until this transaction ends: the row is written, so that nobody else takes it meanwhile.</summary>
    private bool IsHeld(StateSession session, Work work) =>
        session.Execute("update work set owner = owner where id = $1 and owner = $2 and lease = $3", work.Id, _owner, work.Lease) == 1;

    /// <summary>Removes work whose result is being written.</summary>
    /// <returns>False when its lease was lost: then nothing may be written.</returns>
    private bool Remove(StateSession session, Work work) =>
        session.Execute("delete from work where id = $1 and owner = $2 and lease = $3", work.Id, _owner, work.Lease) == 1;

    private int Postpone(StateSession session, Work work, long dueAt, bool counts) =>
        session.Execute(
            "update work set owner = null, lease_until = null, due_at = $1, attempts = attempts + $2 where id = $3 and owner = $4 and lease = $5",
            dueAt, counts ? 1 : 0, work.Id, _owner, work.Lease);

    private static void AddWork(StateSession session, Stage stage, long subjectId, string lane, long dueAt) =>
        session.Execute(
            stage switch
            {
                Stage.Cues => InsertCuesWork,
                Stage.Objects => InsertObjectsWork,
                Stage.Deliveries => InsertDeliveryWork,
                Stage.Confirmations => InsertConfirmationWork,
                _ => InsertWork,
            },
            stage.ToString(), subjectId, lane, session.Now, dueAt);
}
