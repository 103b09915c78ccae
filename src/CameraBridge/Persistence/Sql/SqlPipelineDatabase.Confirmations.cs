using System.Data.Common;
using CameraBridge.Pipeline;

namespace CameraBridge.Persistence.Sql;

/// <summary>Whether archives keep what was delivered.</summary>
internal abstract partial class SqlPipelineDatabase
{
    private const string ConfirmationColumns = "k.state, k.way, k.asked, k.sent_again, k.words, k.created_at, k.finished_at";

    private const int ConfirmationColumnCount = 7;

    private const string ConfirmationRows =
        "confirmations k join deliveries d on d.id = k.delivery_id join imaging_objects o on o.id = d.imaging_object_id";

    public Task<IReadOnlyList<ConfirmationTask>> GetConfirmationsAsync(IReadOnlyList<Work> work, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<ConfirmationTask>>(
            session =>
            {
                Dictionary<long, ConfirmationTask> found = session.Query(
                    $"select {ConfirmationColumns}, d.id, {ObjectColumns} from {ConfirmationRows} where d.id in ids($1)",
                    ReadConfirmationTask, Ids(work.Select(piece => piece.SubjectId)))
                    .ToDictionary(task => task.Confirmation.DeliveryId);
                return [.. work.Where(piece => found.ContainsKey(piece.SubjectId)).Select(piece => found[piece.SubjectId] with { Work = piece })];
            },
            cancellation);

    public Task<ImagingObject> GetObjectAsync(long id, CancellationToken cancellation) =>
        ReadAsync(
            session => session.Query(
                $"select {ObjectColumns}, o.pieces from imaging_objects o where o.id = $1",
                reader => ReadObject(reader, 0) with { Pieces = StoredPieces.Read(reader.GetFieldValue<byte[]>(ObjectColumnCount)) },
                id).Single(),
            cancellation);

    public Task StartCommitmentAsync(string TransactionUID, string destination, IReadOnlyList<long> deliveryIds, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                session.Execute(
                    "insert into commitments (TransactionUID, destination, asked_at) values ($1, $2, $3)", TransactionUID, destination, session.Now);
                return session.Execute(
                    "insert into commitment_items (TransactionUID, delivery_id) select $1, id from deliveries where id in ids($2)", TransactionUID, Ids(deliveryIds));
            },
            cancellation);

    public Task<IReadOnlyList<ConfirmationTask>> GetCommitmentAsync(string TransactionUID, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<ConfirmationTask>>(
            session => session.Query(
                $"""
                select {ConfirmationColumns}, d.id, {ObjectColumns}
                from {ConfirmationRows} join commitment_items i on i.delivery_id = d.id
                where i.TransactionUID = $1 order by d.id
                """,
                ReadConfirmationTask, TransactionUID),
            cancellation);

    public Task CompleteCommitmentAsync(string TransactionUID, IReadOnlyList<ConfirmationVerdict> verdicts, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                session.Execute("update commitments set reported_at = $1 where TransactionUID = $2 and reported_at is null", session.Now, TransactionUID);
                foreach (ConfirmationVerdict verdict in verdicts)
                {
                    switch (verdict.Outcome)
                    {
                        case ConfirmationOutcome.Kept:
                            Keep(session, verdict.DeliveryId, ConfirmationWay.Commitment, verdict.Words);
                            break;
                        case ConfirmationOutcome.Missing:
                            SendAgain(session, verdict.DeliveryId, ConfirmationWay.Commitment, verdict.Words, verdict.SendAgainMost);
                            break;
                        default:
                            session.Execute(
                                "update confirmations set words = $1 where delivery_id = $2 and state = 'Waiting'", verdict.Words, verdict.DeliveryId);
                            break;
                    }
                }

                return verdicts.Count;
            },
            cancellation);

    public Task<IReadOnlyList<Work>> CompleteConfirmationsAsync(IReadOnlyList<ConfirmationResult> results, CancellationToken cancellation) =>
        WriteAsync<IReadOnlyList<Work>>(
            session => [.. results.Where(result => !Complete(session, result)).Select(result => result.Work)],
            cancellation);

    private bool Complete(StateSession session, ConfirmationResult result)
    {
        long delivery = result.Work.SubjectId;
        if (result.Outcome == ConfirmationOutcome.Waiting)
        {
            if (Postpone(session, result.Work, session.ToStateTime(result.DueAt), counts: true) == 0)
            {
                return false;
            }

            session.Execute(
                "update confirmations set asked = asked + $1, way = $2, words = $3 where delivery_id = $4 and state = 'Waiting'",
                result.Asked ? 1 : 0, result.Way?.ToString(), result.Words, delivery);
            return true;
        }

        if (!Remove(session, result.Work))
        {
            return false;
        }

        switch (result.Outcome)
        {
            case ConfirmationOutcome.Kept:
                Keep(session, delivery, result.Way!.Value, result.Words);
                break;
            case ConfirmationOutcome.Missing:
                SendAgain(session, delivery, result.Way!.Value, result.Words, result.SendAgainMost);
                break;
            default:
                GiveToPerson(session, delivery, result.Way, result.Words);
                break;
        }

        return true;
    }

    /// <summary>A stored delivery is to be confirmed: its row, once, and the work. What was kept before and is sent again is asked for anew.</summary>
    private static void AskWhetherKept(StateSession session, long deliveryId, long dueAt)
    {
        session.Execute(
            """
            insert into confirmations (delivery_id, state, created_at) values ($1, 'Waiting', $2)
            on conflict (delivery_id) do update set state = 'Waiting', asked = 0, finished_at = null
            """,
            deliveryId, session.Now);
        string destination = session.QueryText("select destination from deliveries where id = $1", deliveryId)!;
        AddWork(session, Stage.Confirmations, deliveryId, destination, dueAt);
    }

    /// <summary>The archive keeps the object: whatever else was to be done for this delivery is done.</summary>
    private static void Keep(StateSession session, long deliveryId, ConfirmationWay way, string words)
    {
        int changed = session.Execute(
            "update confirmations set state = 'Kept', way = $1, words = $2, asked = asked + 1, finished_at = $3 where delivery_id = $4 and state <> 'Kept'",
            way.ToString(), words, session.Now, deliveryId);
        if (changed == 0)
        {
            return;
        }

        // A report may come while the object is being sent once more: whoever does so finds its lease gone, and changes nothing.
        session.Execute("delete from work where stage in ('Confirmations', 'Deliveries') and subject_id = $1", deliveryId);
        session.Execute("update deliveries set state = 'Stored', finished_at = coalesce(finished_at, $1) where id = $2 and state not in ('Stored', 'StoredWithWarning')", session.Now, deliveryId);
        WhenKept(session, deliveryId);
    }

    /// <summary>The archive does not have what it said it stored: the delivery waits again, under its old row, or a person is asked.</summary>
    private static void SendAgain(StateSession session, long deliveryId, ConfirmationWay way, string words, int most)
    {
        (string state, long sentAgain, string delivery, string destination) = session.Query(
            "select k.state, k.sent_again, d.state, d.destination from confirmations k join deliveries d on d.id = k.delivery_id where d.id = $1",
            reader => (reader.GetString(0), reader.GetInt64(1), reader.GetString(2), reader.GetString(3)), deliveryId).FirstOrDefault();
        if (state != nameof(ConfirmationState.Waiting) || delivery is not (nameof(DeliveryState.Stored) or nameof(DeliveryState.StoredWithWarning)))
        {
            // It is kept by a later word, or on its way again already: a report of a transaction before that says nothing of now.
            return;
        }

        session.Execute("delete from work where stage = 'Confirmations' and subject_id = $1", deliveryId);
        if (sentAgain >= most)
        {
            GiveToPerson(session, deliveryId, way, words);
            return;
        }

        session.Execute(
            "update confirmations set asked = 0, sent_again = sent_again + 1, way = $1, words = $2 where delivery_id = $3", way.ToString(), words, deliveryId);
        session.Execute("update deliveries set state = 'Waiting', status = null, outcome = $1, finished_at = null where id = $2", words, deliveryId);
        AddWork(session, Stage.Deliveries, deliveryId, destination, session.Now);
    }

    private static void GiveToPerson(StateSession session, long deliveryId, ConfirmationWay? way, string words) =>
        session.Execute(
            "update confirmations set state = 'Unconfirmed', way = $1, words = $2, finished_at = $3 where delivery_id = $4 and state = 'Waiting'",
            way?.ToString(), words, session.Now, deliveryId);

    /// <summary>
    /// When every delivery of a capture's object is kept, its source may be released, and with the last one of a sitting its label shots: the policy of the source
    /// decides in that stage.
    /// </summary>
    private static void WhenKept(StateSession session, long deliveryId)
    {
        long capture = session.QueryNumber(
            "select o.capture_id from deliveries d join imaging_objects o on o.id = d.imaging_object_id where d.id = $1", deliveryId)!.Value;
        List<(long Id, string Source)> free = session.Query(
            $"""
            select c.id, c.source from captures c
            where c.sitting_id = (select sitting_id from captures where id = $1) and (c.id = $1 or c.state = 'Evidence') and {MayBeReleased}
                and not exists (select 1 from work w where w.stage = 'Releases' and w.subject_id = c.id)
            order by c.id
            """,
            reader => (reader.GetInt64(0), reader.GetString(1)), capture);
        foreach ((long id, string source) in free)
        {
            AddWork(session, Stage.Releases, id, source, session.Now);
        }
    }

    private static ConfirmationTask ReadConfirmationTask(DbDataReader reader) =>
        new(null, ReadConfirmation(reader, reader.GetInt64(ConfirmationColumnCount), 0), ReadObject(reader, ConfirmationColumnCount + 1));

    private static Confirmation ReadConfirmation(DbDataReader reader, long deliveryId, int first) => new()
    {
        DeliveryId = deliveryId,
        State = Word<ConfirmationState>(reader, first),
        Way = reader.IsDBNull(first + 1) ? null : Word<ConfirmationWay>(reader, first + 1),
        Asked = reader.GetInt32(first + 2),
        SentAgain = reader.GetInt32(first + 3),
        Words = Text(reader, first + 4),
        CreatedAt = At(reader, first + 5),
        FinishedAt = reader.IsDBNull(first + 6) ? null : At(reader, first + 6),
    };
}
