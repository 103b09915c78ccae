using CameraBridge.Pipeline;

namespace CameraBridge.Persistence.Sql;

/// <summary>What may happen to the source, and what happened.</summary>
internal abstract partial class SqlPipelineDatabase
{
    /// <summary>Whether every delivery of the object of capture c is kept, of which there is one at least.</summary>
    private const string IsKept =
        """
        (exists (select 1 from imaging_objects o join deliveries d on d.imaging_object_id = o.id where o.capture_id = c.id)
         and not exists (
            select 1 from imaging_objects o join deliveries d on d.imaging_object_id = o.id left join confirmations k on k.delivery_id = d.id
            where o.capture_id = c.id and (k.state is null or k.state <> 'Kept')))
        """;

    /// <summary>Whether nothing of the sitting of capture c is open or held, and something of it is filed: then its label shots have done their work.</summary>
    private const string IsSittingDone =
        """
        (exists (select 1 from captures f where f.sitting_id = c.sitting_id and f.state = 'Encoded')
         and not exists (select 1 from captures f where f.sitting_id = c.sitting_id and f.state not in ('Encoded', 'Evidence'))
         and not exists (
            select 1 from captures f join imaging_objects o on o.capture_id = f.id join deliveries d on d.imaging_object_id = o.id
                left join confirmations k on k.delivery_id = d.id
            where f.sitting_id = c.sitting_id and (k.state is null or k.state <> 'Kept')))
        """;

    private const string MayBeReleased = $"((c.state = 'Encoded' and {IsKept}) or (c.state = 'Evidence' and {IsSittingDone}))";

    public Task<IReadOnlyList<ReleaseTask>> GetReleasesAsync(IReadOnlyList<Work> work, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<ReleaseTask>>(
            session =>
            {
                Dictionary<long, (Capture Capture, DateTimeOffset? KeptAt, string? BegunIn)> found = session.Query(
                    $"""
                    select {CaptureColumns},
                        case when {MayBeReleased} then coalesce(
                            (select max(k.finished_at) from captures f join imaging_objects o on o.capture_id = f.id join deliveries d on d.imaging_object_id = o.id
                                join confirmations k on k.delivery_id = d.id
                             where f.sitting_id = c.sitting_id and (f.id = c.id or c.state = 'Evidence')), 0) end,
                        (select r.tree from releases r where r.capture_id = c.id and r.state = 'Begun' order by r.id desc limit 1)
                    from captures c where c.id in ids($1)
                    """,
                    reader => (ReadCapture(reader).Capture, reader.IsDBNull(16) ? (DateTimeOffset?)null : At(reader, 16), Text(reader, 17)),
                    Ids(work.Select(piece => piece.SubjectId)))
                    .ToDictionary(row => row.Capture.Id);
                return [.. work.Where(piece => found.ContainsKey(piece.SubjectId))
                    .Select(piece => new ReleaseTask(piece, found[piece.SubjectId].Capture, found[piece.SubjectId].KeptAt, found[piece.SubjectId].BegunIn))];
            },
            cancellation);

    public Task<IReadOnlyList<Work>> BeginReleasesAsync(IReadOnlyList<(Work Work, string Tree)> work, CancellationToken cancellation) =>
        WriteAsync<IReadOnlyList<Work>>(
            session =>
            {
                HashSet<long> may = [.. session.Query(
                    $"select c.id from captures c where c.id in ids($1) and {MayBeReleased}", reader => reader.GetInt64(0), Ids(work.Select(one => one.Work.SubjectId)))];
                (Work Work, string Tree)[] held = [.. work.Where(one => may.Contains(one.Work.SubjectId) && IsHeld(session, one.Work))];
                foreach ((Work piece, string tree) in held)
                {
                    session.Execute("insert into releases (capture_id, state, begun_at, tree) values ($1, 'Begun', $2, $3)", piece.SubjectId, session.Now, tree);
                }

                return [.. held.Select(one => one.Work)];
            },
            cancellation);

    public Task<IReadOnlyList<Work>> CompleteReleasesAsync(IReadOnlyList<ReleaseResult> results, CancellationToken cancellation) =>
        WriteAsync<IReadOnlyList<Work>>(
            session =>
            {
                var lost = new List<Work>();
                foreach (ReleaseResult result in results)
                {
                    // What happened to a file is written down whoever holds the lease by now: the journal tells of the world, not of the work.
                    if (result.State is not (ReleaseState.Waiting or ReleaseState.Left))
                    {
                        Journal(session, result);
                    }

                    bool held = result.State == ReleaseState.Waiting
                        ? Postpone(session, result.Work, session.ToStateTime(result.DueAt), counts: true) == 1
                        : Remove(session, result.Work);
                    if (!held)
                    {
                        lost.Add(result.Work);
                    }
                }

                return lost;
            },
            cancellation);

    public Task<IReadOnlyList<CaptureStanding>> GetStandingsAsync(string source, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<CaptureStanding>>(
            session => session.Query(
                $"""
                select c.place, c.size, c.modified_at, c.sha256,
                    case when {MayBeReleased} then 'Kept'
                         when c.state = 'Held' or s.state = 'Held' then 'Held'
                         when c.state = 'Evidence' and not exists (select 1 from captures f where f.sitting_id = c.sitting_id and f.state <> 'Evidence') then 'Kept'
                         when c.state = 'Encoded' and exists (
                            select 1 from imaging_objects o join deliveries d on d.imaging_object_id = o.id
                            where o.capture_id = c.id and d.state not in ('Stored', 'StoredWithWarning')) then 'Undelivered'
                         when c.state = 'Encoded' then 'Unconfirmed'
                         else 'Underway' end
                from captures c join sittings s on s.id = c.sitting_id where c.source = $1
                """,
                reader => new CaptureStanding(reader.GetString(0), reader.GetInt64(1), At(reader, 2), reader.GetString(3), Word<Standing>(reader, 4)),
                source),
            cancellation);

    private static void Journal(StateSession session, ReleaseResult result)
    {
        int ended = session.Execute(
            """
            update releases set state = $1, words = $2, ended_at = $3
            where id = (select max(id) from releases where capture_id = $4 and state = 'Begun')
            """,
            result.State.ToString(), result.Words, session.Now, result.Work.SubjectId);
        if (ended == 0)
        {
            session.Execute(
                "insert into releases (capture_id, state, words, begun_at, ended_at) values ($1, $2, $3, $4, $4)",
                result.Work.SubjectId, result.State.ToString(), result.Words, session.Now);
        }
    }
}
