using System.Data.Common;
using CameraBridge.Dicom.Data;
using CameraBridge.Pipeline;

namespace CameraBridge.Persistence.Sql;

/// <summary>What the RIS is told.</summary>
internal abstract partial class SqlPipelineDatabase
{
    private const string PerformedStepColumns =
        """
        p.id, p.sitting_id, p.SOPInstanceUID, p.state, p.begins_at, p.ends_at, p.status, p.words,
        (select min(f.id) from performed_steps f where f.sitting_id = p.sitting_id)
        """;

    public Task<IReadOnlyList<PerformedStep>> GetPerformedStepsAsync(long sittingId, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<PerformedStep>>(session => StepsOf(session, sittingId), cancellation);

    public Task<PerformedStepTask?> GetPerformedStepAsync(Work work, CancellationToken cancellation) =>
        ReadAsync(
            session =>
            {
                PerformedStep? step = session.Query($"select {PerformedStepColumns} from performed_steps p where p.id = $1", ReadPerformedStep, work.SubjectId).FirstOrDefault();
                if (step is null || LatestMatch(session, step.SittingId) is not { } match)
                {
                    return null;
                }

                return new PerformedStepTask(
                    work,
                    step,
                    session.Query($"select {SittingColumns} from sittings s where s.id = $1", ReadSitting, step.SittingId).Single(),
                    match,
                    CapturesOf(session, step.SittingId),
                    session.Query($"select {ObjectColumns} from imaging_objects o where o.performed_step_id = $1 order by o.id", reader => ReadObject(reader, 0), step.Id),
                    SeriesOf(session, step.SittingId));
            },
            cancellation);

    public Task<bool> BeginEndOfStepAsync(Work work, CancellationToken cancellation) =>
        WriteAsync(
            session => IsHeld(session, work) && session.Execute("update performed_steps set state = 'Ending' where id = $1 and state = 'InProgress'", work.SubjectId) == 1,
            cancellation);

    public Task<bool> CompletePerformedStepAsync(PerformedStepResult result, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                // Its ending may have been asked for while its beginning was being sent: then this work goes on with that.
                bool isToEnd = result is { State: PerformedStepState.InProgress, DueAt: null }
                    && session.QueryNumber("select ends_at from performed_steps where id = $1", result.Work.SubjectId) is not null;
                bool held = result.DueAt is { } dueAt ? Postpone(session, result.Work, dueAt.UtcTicks, result.Tried) == 1
                    : isToEnd ? Postpone(session, result.Work, session.Now, counts: false) == 1
                    : Remove(session, result.Work);
                if (held)
                {
                    session.Execute(
                        "update performed_steps set state = $1, status = $2, words = $3 where id = $4",
                        result.State.ToString(), result.Status is { } status ? (int)status : null, result.Words, result.Work.SubjectId);
                }

                return held;
            },
            cancellation);

    public Task<IReadOnlyList<PerformedStep>> GetOpenPerformedStepsAsync(CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<PerformedStep>>(
            session => session.Query(
                $"select {PerformedStepColumns} from performed_steps p where p.state not in ('Completed', 'Discontinued') order by p.id", ReadPerformedStep),
            cancellation);

    /// <summary>A matched sitting begins a performed step, where the site tells its RIS of them.</summary>
    private static void BeginStep(StateSession session, Match match)
    {
        if (match is { StepJson: not null, PerformedStepUID: { } SOPInstanceUID } && StepsOf(session, match.SittingId).Count == 0)
        {
            AddStep(session, match.SittingId, SOPInstanceUID, endsAt: null);
        }
    }

    private static long AddStep(StateSession session, long sittingId, string SOPInstanceUID, long? endsAt)
    {
        long id = session.QueryNumber(
            "insert into performed_steps (sitting_id, SOPInstanceUID, state, begins_at, ends_at) values ($1, $2, 'Planned', $3, $4) returning id",
            sittingId, SOPInstanceUID, session.Now, endsAt)!.Value;
        AddWork(session, Stage.PerformedSteps, id, "", session.Now);
        return id;
    }

    /// <summary>
    /// The sitting's objects are made: its performed step is to end, with all objects that belong to none yet. Where it has been ended before, they are told in
    /// another step (append), which begins and ends at once.
    /// </summary>
    private static void EndStep(StateSession session, long sittingId)
    {
        if (StepsOf(session, sittingId) is not [.., var last])
        {
            return;
        }

        bool isNew = session.QueryNumber("select 1 from imaging_objects where sitting_id = $1 and performed_step_id is null limit 1", sittingId) is not null;
        long id = last.Id;
        if (last.EndsAt is null)
        {
            session.Execute("update performed_steps set ends_at = $1 where id = $2", session.Now, id);
            if (session.QueryNumber("select 1 from work where stage = 'PerformedSteps' and subject_id = $1", id) is null && last.State == PerformedStepState.InProgress)
            {
                AddWork(session, Stage.PerformedSteps, id, "", session.Now);
            }
        }
        else if (isNew)
        {
            id = AddStep(session, sittingId, Uids.NewFromUuid(), session.Now);
        }

        if (isNew)
        {
            session.Execute("update imaging_objects set performed_step_id = $1 where sitting_id = $2 and performed_step_id is null", id, sittingId);
        }
    }

    private static List<PerformedStep> StepsOf(StateSession session, long sittingId) =>
        session.Query($"select {PerformedStepColumns} from performed_steps p where p.sitting_id = $1 order by p.id", ReadPerformedStep, sittingId);

    private static PerformedStep ReadPerformedStep(DbDataReader reader) => new()
    {
        Id = reader.GetInt64(0),
        SittingId = reader.GetInt64(1),
        SOPInstanceUID = reader.GetString(2),
        State = Word<PerformedStepState>(reader, 3),
        BeginsAt = At(reader, 4),
        EndsAt = reader.IsDBNull(5) ? null : At(reader, 5),
        Status = reader.IsDBNull(6) ? null : (ushort)reader.GetInt32(6),
        Words = Text(reader, 7),
        IsFirst = reader.GetInt64(8) == reader.GetInt64(0),
    };
}
