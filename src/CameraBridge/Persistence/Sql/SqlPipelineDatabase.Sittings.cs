using System.Data.Common;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings.Cues.Cards;

namespace CameraBridge.Persistence.Sql;

/// <summary>Cues, and the closing and dividing of sittings.</summary>
internal abstract partial class SqlPipelineDatabase
{
    private const string SittingColumns = "s.id, s.source, s.folder, s.state, s.opened_at, s.follows_sitting_id, s.begins, s.doubt";

    public Task<IReadOnlyList<Work>> CompleteCuesAsync(IReadOnlyList<CaptureReading> readings, CancellationToken cancellation) =>
        WriteAsync<IReadOnlyList<Work>>(
            session =>
            {
                var lost = new List<Work>();
                var done = new List<long>(readings.Count);
                foreach (CaptureReading reading in readings)
                {
                    long capture = reading.Work.SubjectId;
                    if (!Remove(session, reading.Work))
                    {
                        lost.Add(reading.Work);
                        continue;
                    }

                    session.Execute(
                        "update captures set taken_at = $1, taken_at_origin = $2, state = 'Read' where id = $3",
                        Iso(reading.TakenAt), reading.TakenAtOrigin, capture);
                    foreach (Cue cue in reading.Cues)
                    {
                        InsertCue(session, cue with { CaptureId = capture });
                    }

                    done.Add(capture);
                }

                LetSittingsClose(session, done);
                return lost;
            },
            cancellation);

    public Task<IReadOnlyList<Cue>> GetCuesOfSittingAsync(long sittingId, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<Cue>>(
            session => session.Query(
                """
                select q.capture_id, q.kind, q.pattern, q.PatientID, q.IssuerOfPatientID, q.AccessionNumber, q.side, q.optic, q.optic_values, q.finding_code, q.finding_words,
                    q.card_key, q.card_value, q.scale
                from cues q
                where q.capture_id in (select id from captures where sitting_id = $1)
                   or (q.kind in ('Sidecar', 'FolderName') and q.capture_id in (select capture_id from folder_evidence where sitting_id = $1))
                order by q.id
                """,
                ReadCue, sittingId),
            cancellation);

    public Task<Sitting?> GetSittingAsync(long sittingId, CancellationToken cancellation) =>
        ReadAsync(
            session => session.Query($"select {SittingColumns} from sittings s where s.id = $1", ReadSitting, sittingId).FirstOrDefault(),
            cancellation);

    public Task<bool> CompleteSittingAsync(Work work, IReadOnlyList<SittingPart> parts, CancellationToken cancellation) =>
        WriteAsync(session => CompleteSitting(session, work, parts), cancellation);

    private bool CompleteSitting(StateSession session, Work work, IReadOnlyList<SittingPart> parts)
    {
        (string? state, long closesAt) = session.Query(
            "select state, closes_at from sittings where id = $1", reader => ((string?)reader.GetString(0), reader.GetInt64(1)), work.SubjectId).FirstOrDefault();
        if (state is not nameof(SittingState.Open))
        {
            Remove(session, work);
            return false;
        }

        var inParts = parts.SelectMany(part => part.CaptureIds).ToHashSet();
        List<long> joined = session.Query("select id from captures where sitting_id = $1", reader => reader.GetInt64(0), work.SubjectId);
        if (closesAt > session.Now || HasCuesWork(session, work.SubjectId) || !inParts.SetEquals(joined))
        {
            // When the last cue is read, it makes the closing due again.
            Postpone(session, work, closesAt > session.Now ? closesAt : HasCuesWork(session, work.SubjectId) ? session.Now + CuesWait.Ticks : session.Now, counts: false);
            return false;
        }

        if (!Remove(session, work))
        {
            return false;
        }

        long before = work.SubjectId;
        for (int i = 0; i < parts.Count; i++)
        {
            SittingPart part = parts[i];
            string closed = (part.Empty ? SittingState.Empty : SittingState.Closed).ToString();
            long id = before;
            if (i == 0)
            {
                session.Execute(
                    "update sittings set state = $1, joinable = 0, begins = $2, doubt = $3 where id = $4", closed, part.Begins, part.Doubt, work.SubjectId);
            }
            else
            {
                id = session.QueryNumber(
                    $"""
                    insert into sittings (source, folder, spool, state, joinable, opened_at, closes_at, follows_sitting_id, begins, doubt)
                    select source, folder, spool, $1, 0, opened_at, closes_at, $2, $3, $4 from sittings where id = $5 returning id
                    """,
                    closed, before, part.Begins, part.Doubt, work.SubjectId)!.Value;
            }

            FillPart(session, id, part);
            before = id;
        }

        return true;
    }

    private static void FillPart(StateSession session, long sittingId, SittingPart part)
    {
        for (int position = 0; position < part.CaptureIds.Count; position++)
        {
            session.Execute(
                "update captures set sitting_id = $1, position = $2, state = case when $3 = 1 and state = 'Read' then 'Evidence' else state end where id = $4",
                sittingId, position, part.Empty ? 1 : 0, part.CaptureIds[position]);
        }

        foreach (long evidence in part.FolderEvidence)
        {
            session.Execute("insert into folder_evidence (sitting_id, capture_id) values ($1, $2)", sittingId, evidence);
        }

        if (!part.Empty)
        {
            AddWork(session, Stage.Matches, sittingId, "", session.Now);
        }
    }

    private static bool HasCuesWork(StateSession session, long sittingId) =>
        session.QueryNumber(
            "select 1 from captures c join work w on w.stage = 'Cues' and w.subject_id = c.id where c.sitting_id = $1 limit 1", sittingId) is not null;

    /// <summary>Sittings whose closing waited for these captures' cues are due as soon as the last of their cues is read.</summary>
    private static void LetSittingsClose(StateSession session, IReadOnlyList<long> captures) =>
        session.Execute(
            """
            update work set due_at = (select closes_at from sittings where id = subject_id)
            where stage = 'Sittings'
              and subject_id in (select sitting_id from captures where id in ids($1))
              and due_at > (select closes_at from sittings where id = subject_id)
              and not exists (
                select 1 from captures c join work w on w.stage = 'Cues' and w.subject_id = c.id where c.sitting_id = work.subject_id)
            """,
            Ids(captures));

    private static void InsertCue(StateSession session, Cue cue) =>
        session.Execute(
            """
            insert into cues (capture_id, kind, pattern, PatientID, IssuerOfPatientID, AccessionNumber, side, optic, optic_values, finding_code, finding_words, card_key, card_value, scale)
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)
            """,
            cue.CaptureId, cue.Kind.ToString(), cue.Pattern, cue.PatientID, cue.IssuerOfPatientID, cue.AccessionNumber, cue.Side, cue.Optic,
            cue.Values.ToJson(), cue.Finding?.Code, cue.Finding?.Words, cue.Card?.Key, cue.Card?.Value, cue.Scale?.ToText());

    private static Cue ReadCue(DbDataReader reader) => new()
    {
        CaptureId = reader.GetInt64(0),
        Kind = Word<CueKind>(reader, 1),
        Pattern = Text(reader, 2),
        PatientID = Text(reader, 3),
        IssuerOfPatientID = Text(reader, 4),
        AccessionNumber = Text(reader, 5),
        Side = Text(reader, 6),
        Optic = Text(reader, 7),
        Values = OpticValues.FromJson(Text(reader, 8)),
        Finding = Text(reader, 9) is { } code ? new Reason(code, Text(reader, 10) ?? "") : null,
        Card = Text(reader, 11) is { } key ? new CardCue(key, Text(reader, 12) ?? "") : null,
        Scale = ScaleMeasure.FromText(Text(reader, 13)),
    };

    private static Sitting ReadSitting(DbDataReader reader) => new()
    {
        Id = reader.GetInt64(0),
        Source = reader.GetString(1),
        Folder = reader.GetString(2),
        State = Word<SittingState>(reader, 3),
        OpenedAt = At(reader, 4),
        FollowsSittingId = reader.GetInt64(5),
        Begins = reader.GetString(6),
        Doubt = Text(reader, 7),
    };
}
