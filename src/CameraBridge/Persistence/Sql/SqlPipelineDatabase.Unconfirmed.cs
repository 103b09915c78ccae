using CameraBridge.Pipeline;

namespace CameraBridge.Persistence.Sql;

/// <summary>What is stored and not confirmed.</summary>
internal abstract partial class SqlPipelineDatabase
{
    /// <summary>Of the destinations $2 and the sitting $3, null for all; $1 is now.</summary>
    private const string UnconfirmedOnly =
        """
        where k.state <> 'Kept' and d.state in ('Stored', 'StoredWithWarning')
            and ($2 is null or d.destination in texts($2)) and ($3 is null or o.sitting_id = $3)
        """;

    public Task<IReadOnlyList<Unconfirmed>> GetUnconfirmedAsync(IReadOnlyList<string>? destinations, long? sittingId, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<Unconfirmed>>(
            session => session.Query(
                $"""
                select o.sitting_id, s.source, s.folder, d.destination, k.state, k.way, k.words, count(*), min(k.created_at),
                    min(case when w.owner is null and w.due_at > $1 then w.due_at end)
                from {ConfirmationRows} join sittings s on s.id = o.sitting_id
                left join work w on w.stage = 'Confirmations' and w.subject_id = d.id
                {UnconfirmedOnly}
                group by o.sitting_id, s.source, s.folder, d.destination, k.state, k.way, k.words
                order by o.sitting_id, d.destination, k.state, count(*) desc
                """,
                reader => new Unconfirmed
                {
                    SittingId = reader.GetInt64(0),
                    Source = reader.GetString(1),
                    Folder = reader.GetString(2),
                    Destination = reader.GetString(3),
                    State = Word<ConfirmationState>(reader, 4),
                    Way = reader.IsDBNull(5) ? null : Word<ConfirmationWay>(reader, 5),
                    Words = Text(reader, 6),
                    Count = reader.GetInt32(7),
                    Since = At(reader, 8),
                    NextAskingAt = reader.IsDBNull(9) ? null : At(reader, 9),
                },
                session.Now, destinations is null ? null : Names(destinations), sittingId),
            cancellation);

    public Task<int> AskAgainAsync(IReadOnlyList<string> destinations, long? sittingId, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                List<(long Id, string Destination, bool Ended)> open = session.Query(
                    $"select d.id, d.destination, k.state from {ConfirmationRows} {UnconfirmedOnly} and $1 >= 0",
                    reader => (reader.GetInt64(0), reader.GetString(1), reader.GetString(2) == nameof(ConfirmationState.Unconfirmed)),
                    session.Now, Names(destinations), sittingId);
                foreach ((long id, string destination, bool ended) in open)
                {
                    if (ended)
                    {
                        session.Execute(
                            "update confirmations set state = 'Waiting', asked = 0, sent_again = 0, created_at = $1, finished_at = null where delivery_id = $2", session.Now, id);
                        AddWork(session, Stage.Confirmations, id, destination, session.Now);
                    }
                    else
                    {
                        session.Execute(
                            "update work set due_at = $1 where stage = 'Confirmations' and subject_id = $2 and owner is null and due_at > $1", session.Now, id);
                    }
                }

                return open.Count;
            },
            cancellation);
}
