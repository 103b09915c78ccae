namespace CameraBridge.Persistence.Sql;

/// <summary>How much waits for each destination, and how fast it went lately.</summary>
internal abstract partial class SqlPipelineDatabase
{
    public Task<IReadOnlyList<DeliveryQueue>> GetQueuesAsync(TimeSpan window, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<DeliveryQueue>>(
            session => session.Query(
                """
                select d.destination,
                    sum(case when d.state = 'Waiting' and o.rank < 2 then 1 else 0 end), sum(case when d.state = 'Waiting' and o.rank = 2 then 1 else 0 end),
                    sum(case when d.state = 'Waiting' then c.size else 0 end), sum(case when d.state <> 'Waiting' then c.size else 0 end),
                    min(case when d.state <> 'Waiting' then d.finished_at end)
                from deliveries d join imaging_objects o on o.id = d.imaging_object_id join captures c on c.id = o.capture_id
                where d.state = 'Waiting' or (d.state in ('Stored', 'StoredWithWarning') and d.finished_at >= $1)
                group by d.destination order by d.destination
                """,
                reader => new DeliveryQueue(
                    reader.GetString(0), reader.GetInt32(1), reader.GetInt32(2), (long)reader.GetDecimal(3), (long)reader.GetDecimal(4), reader.IsDBNull(5) ? null : At(reader, 5)),
                session.Now - window.Ticks),
            cancellation);

    public Task<IReadOnlyList<(bool IsClip, int Count, long Bytes)>> GetCaptureSizesAsync(CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<(bool IsClip, int Count, long Bytes)>>(
            session => session.Query(
                """
                select case when o.rank = 2 then 1 else 0 end, count(*), sum(c.size) from imaging_objects o join captures c on c.id = o.capture_id
                group by case when o.rank = 2 then 1 else 0 end
                """,
                reader => (reader.GetInt32(0) == 1, reader.GetInt32(1), (long)reader.GetDecimal(2))),
            cancellation);
}
