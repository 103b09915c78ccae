using System.Data.Common;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline;

namespace CameraBridge.Persistence.Sql;

/// <summary>Matches, by rules and by people, and the objects made under them.</summary>
internal abstract partial class SqlPipelineDatabase
{
    private const string ByRules = "rules";

    private const string MatchColumns = "m.sitting_id, m.step, m.evidence, m.held_reasons, m.proposals, m.inquiry, m.decided_by, m.decided_at, m.clock";

    public Task<bool> CompleteMatchAsync(Work work, Match match, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                if (!Remove(session, work))
                {
                    return false;
                }

                InsertMatch(session, match);
                SetSittingState(session, match.SittingId, match.StepJson is null ? SittingState.Held : SittingState.Matched);
                if (match.StepJson is not null)
                {
                    AddWork(session, Stage.Objects, match.SittingId, "", session.Now);
                    BeginStep(session, match);
                }

                return true;
            },
            cancellation);

    public Task<bool> DeferMatchAsync(Work work, Match match, DateTimeOffset dueAt, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                if (Postpone(session, work, session.ToStateTime(dueAt), counts: true) == 0)
                {
                    return false;
                }

                InsertMatch(session, match);
                return true;
            },
            cancellation);

    public Task<Match?> GetMatchAsync(long sittingId, CancellationToken cancellation) =>
        ReadAsync(session => LatestMatch(session, sittingId), cancellation);

    public Task<bool> AssignAsync(Match match, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                string? state = session.QueryText("select state from sittings where id = $1", match.SittingId);
                bool waits = state == nameof(SittingState.Closed) && LatestMatch(session, match.SittingId) is { StepJson: null };
                if (state != nameof(SittingState.Held) && !waits)
                {
                    return false;
                }

                // Who is asking the worklist for this sitting at this moment finds its lease gone, and changes nothing.
                session.Execute("delete from work where stage = 'Matches' and subject_id = $1", match.SittingId);
                InsertMatch(session, match);
                SetSittingState(session, match.SittingId, SittingState.Matched);
                AddWork(session, Stage.Objects, match.SittingId, "", session.Now);
                BeginStep(session, match);
                return true;
            },
            cancellation);

    public Task<bool> MakeAgainAsync(Match match, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                bool isMatched = session.QueryText("select state from sittings where id = $1", match.SittingId) == nameof(SittingState.Matched);
                bool hasObjects = session.QueryNumber("select 1 from imaging_objects where sitting_id = $1 limit 1", match.SittingId) is not null;
                if (!isMatched
                    || (hasObjects && LatestMatch(session, match.SittingId)?.StepJson != match.StepJson)
                    || session.Execute("update captures set state = 'Read', held_reason = null where sitting_id = $1 and state = 'Held'", match.SittingId) == 0)
                {
                    return false;
                }

                // Who is making objects of this sitting at this moment finds its lease gone, and changes nothing.
                session.Execute("delete from work where stage = 'Objects' and subject_id = $1", match.SittingId);
                InsertMatch(session, match);
                AddWork(session, Stage.Objects, match.SittingId, "", session.Now);
                return true;
            },
            cancellation);

    public async Task<DateTimeOffset> StartStudyAsync(string StudyInstanceUID, DateTimeOffset startedAt, CancellationToken cancellation)
    {
        const string Find = "select started_at from studies where StudyInstanceUID = $1";

        // Most sittings are the first of their study or come long after it: looking costs no write.
        string text = await ReadAsync(session => session.QueryText(Find, StudyInstanceUID), cancellation).ConfigureAwait(false)
            ?? await WriteAsync(
                session =>
                {
                    session.Execute("insert into studies (StudyInstanceUID, started_at) values ($1, $2) on conflict do nothing", StudyInstanceUID, Iso(startedAt));
                    return session.QueryText(Find, StudyInstanceUID)!;
                },
                cancellation).ConfigureAwait(false);
        return FromIso(text);
    }

    public Task<IReadOnlyList<ObjectSeries>> GetSeriesOfSittingAsync(long sittingId, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<ObjectSeries>>(session => SeriesOf(session, sittingId), cancellation);

    public Task<IReadOnlyList<ImagingObject>> GetObjectsOfSittingAsync(long sittingId, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<ImagingObject>>(
            session => session.Query(
                $"select {ObjectColumns} from imaging_objects o where o.sitting_id = $1 order by o.id", reader => ReadObject(reader, 0), sittingId),
            cancellation);

    public Task<bool> CompleteObjectsAsync(
        Work work,
        IReadOnlyList<ImagingObject> objects,
        IReadOnlyList<ObjectSeries> series,
        IReadOnlyList<CaptureVerdict> others,
        CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                if (!Remove(session, work))
                {
                    return false;
                }

                foreach (ImagingObject made in objects)
                {
                    AddObject(session, made with { SittingId = work.SubjectId });
                }

                foreach (ObjectSeries one in series)
                {
                    session.Execute(
                        """
                        insert into series (SeriesInstanceUID, sitting_id, optic, equipment, SeriesNumber, started_at, instances, kind)
                        values ($1, $2, $3, $4, $5, $6, $7, $8)
                        on conflict (SeriesInstanceUID) do update set instances = excluded.instances
                        """,
                        one.SeriesInstanceUID, work.SubjectId, one.Optic, one.Equipment, one.SeriesNumber, Iso(one.StartedAt), one.Instances, one.Kind.ToString());
                }

                foreach (CaptureVerdict verdict in others)
                {
                    session.Execute(
                        "update captures set state = $1, held_reason = $2 where id = $3", verdict.State.ToString(), verdict.HeldReason, verdict.CaptureId);
                }

                EndStep(session, work.SubjectId);
                return true;
            },
            cancellation);

    private static void AddObject(StateSession session, ImagingObject made)
    {
        long id = session.QueryNumber(
            """
            insert into imaging_objects (capture_id, sitting_id, SOPClassUID, SOPInstanceUID, TransferSyntaxUID, pieces, StudyInstanceUID, SeriesInstanceUID, rank)
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9) returning id
            """,
            made.CaptureId, made.SittingId, made.SOPClassUID, made.SOPInstanceUID, made.TransferSyntaxUID, StoredPieces.Write(made.Pieces),
            made.StudyInstanceUID, made.SeriesInstanceUID, made.Rank)!.Value;
        session.Execute("update captures set state = 'Encoded', held_reason = null where id = $1", made.CaptureId);
        foreach (string destination in made.Destinations)
        {
            long delivery = session.QueryNumber(
                "insert into deliveries (imaging_object_id, destination, state, created_at) values ($1, $2, 'Waiting', $3) returning id",
                id, destination, session.Now)!.Value;
            AddWork(session, Stage.Deliveries, delivery, destination, session.Now);
        }
    }

    private static List<ObjectSeries> SeriesOf(StateSession session, long sittingId) => session.Query(
        "select SeriesInstanceUID, optic, equipment, SeriesNumber, started_at, instances, kind from series where sitting_id = $1 order by SeriesNumber",
        reader => new ObjectSeries
        {
            SeriesInstanceUID = reader.GetString(0),
            Optic = reader.GetString(1),
            Equipment = reader.GetString(2),
            SeriesNumber = reader.GetInt32(3),
            StartedAt = FromIso(reader.GetString(4)),
            Instances = reader.GetInt32(5),
            Kind = Word<CaptureKind>(reader, 6),
        },
        sittingId);

    private static void SetSittingState(StateSession session, long sittingId, SittingState state) =>
        session.Execute("update sittings set state = $1 where id = $2", state.ToString(), sittingId);

    /// <summary>A decision by rules takes the place of an earlier one by rules; a person's stands beside it, so that both can be shown later.</summary>
    private static void InsertMatch(StateSession session, Match match)
    {
        string? clock = match.Clock is { } known ? StateJson.Write(known) : session.QueryText("select clock from matches where sitting_id = $1 order by id desc limit 1", match.SittingId);
        if (match.DecidedBy == ByRules)
        {
            session.Execute("delete from matches where sitting_id = $1 and decided_by = $2", match.SittingId, ByRules);
        }

        session.Execute(
            """
            insert into matches (sitting_id, step, evidence, held_reasons, proposals, inquiry, decided_by, decided_at, clock)
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9)
            """,
            match.SittingId, match.StepJson, StateJson.Write(match.Evidence), StateJson.Write(match.HeldReasons), StateJson.Write(match.Proposals),
            match.Inquiry, match.DecidedBy, match.DecidedAt.UtcTicks, clock);
        foreach (Cue said in match.Said)
        {
            InsertCue(session, said);
        }
    }

    private static Match? LatestMatch(StateSession session, long sittingId) =>
        session.Query($"select {MatchColumns} from matches m where m.sitting_id = $1 order by m.id desc limit 1", ReadMatch, sittingId).FirstOrDefault();

    private static Match ReadMatch(DbDataReader reader) => new()
    {
        SittingId = reader.GetInt64(0),
        StepJson = Text(reader, 1),
        Evidence = StateJson.ReadReasons(reader.GetString(2)),
        HeldReasons = StateJson.ReadReasons(reader.GetString(3)),
        Proposals = StateJson.ReadProposals(reader.GetString(4)),
        Inquiry = Text(reader, 5),
        DecidedBy = reader.GetString(6),
        DecidedAt = At(reader, 7),
        Clock = Text(reader, 8) is { } clock ? StateJson.ReadClock(clock) : null,
    };
}
