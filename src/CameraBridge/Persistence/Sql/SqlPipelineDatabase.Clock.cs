using CameraBridge.Pipeline.Sittings.Cues.Cards;

namespace CameraBridge.Persistence.Sql;

/// <summary>The clocks.</summary>
internal abstract partial class SqlPipelineDatabase
{
    /// <summary>A server's clock is for those to keep who run the server.</summary>
    public virtual Task<TimeSpan> KeepTimeAsync(CancellationToken cancellation) => Task.FromResult(TimeSpan.Zero);

    public Task<IReadOnlyList<ClockMoment>> GetClockMomentsAsync(string source, DateTimeOffset from, int most, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<ClockMoment>>(
            session => session.Query(
                """
                select c.id, c.sitting_id, c.camera, c.taken_at, c.taken_at_origin, c.settled_at,
                       (select min(q.card_value) from cues q where q.capture_id = c.id and q.kind = 'Card' and q.card_key = $4) as card
                from captures c
                where c.source = $1 and c.settled_at >= $2 and c.taken_at is not null
                order by c.settled_at desc, c.id desc limit $3
                """,
                reader => new ClockMoment(
                    reader.GetInt64(0), reader.GetInt64(1), Text(reader, 2), FromIso(reader.GetString(3)), reader.GetString(4), At(reader, 5))
                {
                    Card = Text(reader, 6) is { } card ? new CardCue(CardKeys.Clock, card).Clock : null,
                },
                source, from.UtcTicks, most, CardKeys.Clock),
            cancellation);
}
