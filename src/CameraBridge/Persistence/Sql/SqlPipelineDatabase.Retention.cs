namespace CameraBridge.Persistence.Sql;

/// <summary>What may be let go.</summary>
internal abstract partial class SqlPipelineDatabase
{
    /// <summary>An object without pieces: what is left of it when its files are gone and the time of its headers is over.</summary>
    private static readonly byte[] NoPieces = StoredPieces.Write([]);

    public Task<IReadOnlyList<TrimTask>> GetTrimmableAsync(DateTimeOffset before, int most, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<TrimTask>>(
            session => session.Query(
                $"""
                select c.id, c.spool_name, o.pieces from captures c join sittings s on s.id = c.sitting_id left join imaging_objects o on o.capture_id = c.id
                where c.trimmed_at is null and s.spool in ('', $3) and {MayBeReleased}
                    and not (c.state = 'Evidence' and c.held_reason is not null)
                    and not exists (select 1 from work w where w.stage = 'Releases' and w.subject_id = c.id)
                    and (select max(k.finished_at) from captures f join imaging_objects fo on fo.capture_id = f.id join deliveries d on d.imaging_object_id = fo.id
                            join confirmations k on k.delivery_id = d.id
                         where f.sitting_id = c.sitting_id and (f.id = c.id or c.state = 'Evidence')) <= $1
                    and not exists (
                        select 1 from captures x
                        where x.spool_name = c.spool_name and x.id <> c.id and x.trimmed_at is null
                            and (x.state not in ('Encoded', 'Evidence') or (x.state = 'Evidence' and x.held_reason is not null)))
                    and not exists (
                        select 1 from captures x join imaging_objects xo on xo.capture_id = x.id join deliveries d on d.imaging_object_id = xo.id
                            left join confirmations k on k.delivery_id = d.id
                        where x.spool_name = c.spool_name and x.trimmed_at is null and (k.state is null or k.state <> 'Kept'))
                order by c.id limit $2
                """,
                reader => new TrimTask(
                    reader.GetInt64(0),
                    [
                        .. (reader.IsDBNull(2) ? [] : StoredPieces.Read(reader.GetFieldValue<byte[]>(2))).Select(piece => piece.SpoolName).OfType<string>()
                            .Append(reader.GetString(1)).Distinct(StringComparer.Ordinal),
                    ]),
                session.ToStateTime(before), most, _spool?.TryGet() ?? ""),
            cancellation);

    public Task MarkTrimmedAsync(IReadOnlyList<long> captureIds, CancellationToken cancellation) =>
        WriteAsync(session => session.Execute("update captures set trimmed_at = $1 where id in ids($2)", session.Now, Ids(captureIds)), cancellation);

    public Task<int> TrimStateAsync(DateTimeOffset before, int most, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                List<(long Id, long SittingId)> old = session.Query(
                    """
                    select o.id, o.sitting_id from imaging_objects o join captures c on c.id = o.capture_id
                    where o.trimmed_at is null and c.trimmed_at <= $1 order by o.id limit $2
                    """,
                    reader => (reader.GetInt64(0), reader.GetInt64(1)), session.ToStateTime(before), most);
                foreach ((long id, _) in old)
                {
                    session.Execute("update imaging_objects set pieces = $1, trimmed_at = $2 where id = $3", NoPieces, session.Now, id);
                }

                session.Execute("update matches set inquiry = null, proposals = '[]' where sitting_id in ids($1)", Ids(old.Select(one => one.SittingId).Distinct()));
                return old.Count;
            },
            cancellation);
}
