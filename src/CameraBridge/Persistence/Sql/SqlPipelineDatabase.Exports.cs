namespace CameraBridge.Persistence.Sql;

/// <summary>What a copy on media is made of.</summary>
internal abstract partial class SqlPipelineDatabase
{
    public Task<IReadOnlyList<long>> GetSittingsOfSourceAsync(string source, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<long>>(
            session => session.Query("select id from sittings where source = $1 order by id", reader => reader.GetInt64(0), source), cancellation);

    public Task<SittingContents?> GetContentsAsync(long sittingId, CancellationToken cancellation) =>
        ReadAsync(
            session => session.Query($"select {SittingColumns} from sittings s where s.id = $1", ReadSitting, sittingId) is [var sitting]
                ? new SittingContents(
                    sitting,
                    CapturesOf(session, sittingId),
                    session.Query(
                        $"select {ObjectColumns}, o.pieces from imaging_objects o where o.sitting_id = $1 order by o.id",
                        reader => ReadObject(reader, 0) with { Pieces = StoredPieces.Read(reader.GetFieldValue<byte[]>(ObjectColumnCount)) },
                        sittingId),
                    session.Query(
                        $"select {DeliveryColumns} from {DeliveryRows} join imaging_objects o on o.id = d.imaging_object_id where o.sitting_id = $1 order by d.id",
                        ReadDelivery, sittingId))
                : null,
            cancellation);
}
