using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Persistence.Sql;

/// <summary>When sittings of a source began, and what they were filed under.</summary>
internal abstract partial class SqlPipelineDatabase
{
    public Task<IReadOnlyList<PastInquiry>> GetInquiriesAsync(string source, DateTimeOffset from, DateTimeOffset to, int most, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<PastInquiry>>(
            session => session.Query(
                """
                select m.decided_at, m.inquiry from matches m join sittings s on s.id = m.sitting_id
                where s.source = $1 and m.decided_at >= $2 and m.decided_at <= $3 and m.inquiry is not null
                order by m.id desc limit $4
                """,
                reader => new PastInquiry(At(reader, 0), reader.GetString(1)),
                source, from.UtcTicks, to.UtcTicks, most),
            cancellation);

    public Task<IReadOnlyList<SittingTime>> GetSittingTimesAsync(
        string source, DateTimeOffset from, DateTimeOffset to, bool matchedOnly, int most, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<SittingTime>>(
            session => session.Query(
                """
                select s.id, s.state, t.first_taken_at, t.settled_at, t.captures, m.step, m.evidence, t.camera, s.opened_at, t.file_times, t.pictures
                from sittings s
                join (
                    select c.sitting_id, coalesce(min(case when c.taken_at_origin <> $5 then c.taken_at end), min(c.taken_at)) as first_taken_at,
                           max(c.settled_at) as settled_at, count(*) as captures,
                           case when min(c.camera) = max(c.camera) then min(c.camera) end as camera,
                           min(case when c.taken_at_origin <> $5 then 0 else 1 end) as file_times,
                           sum(case when exists (select 1 from cues q where q.capture_id = c.id and q.kind in ('Label', 'Card', 'Sidecar')) then 0 else 1 end) as pictures
                    from captures c join sittings o on o.id = c.sitting_id
                    where o.source = $1 and o.opened_at >= $2 and o.opened_at <= $3
                    group by c.sitting_id
                ) t on t.sitting_id = s.id
                left join matches m on m.id = (select max(l.id) from matches l where l.sitting_id = s.id)
                where t.first_taken_at is not null and ($4 = 0 or s.state = 'Matched')
                order by s.opened_at desc, s.id desc limit $6
                """,
                reader => new SittingTime
                {
                    SittingId = reader.GetInt64(0),
                    State = Word<SittingState>(reader, 1),
                    FirstTakenAt = FromIso(reader.GetString(2)),
                    SettledAt = At(reader, 3),
                    Captures = reader.GetInt32(4),
                    StepJson = Text(reader, 5),
                    Evidence = Text(reader, 6) is { } evidence ? StateJson.ReadReasons(evidence) : [],
                    Camera = Text(reader, 7),
                    OpenedAt = At(reader, 8),
                    IsFileTime = reader.GetInt32(9) == 1,
                    Pictures = reader.GetInt32(10),
                },
                source, from.UtcTicks, to.UtcTicks, matchedOnly ? 1 : 0, CaptureTime.FileOrigin, most),
            cancellation);
}
