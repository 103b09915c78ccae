using System.Collections.Concurrent;

namespace CameraBridge.Persistence.Sql;

/// <summary>Sources that are held, and spools.</summary>
internal abstract partial class SqlPipelineDatabase
{
    /// <summary>Sources that this worker took, by the number of its hold.</summary>
    private readonly ConcurrentDictionary<string, long> _sources = new(StringComparer.Ordinal);

    public Task<string?> HoldSourceAsync(string source, TimeSpan lease, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                (string? owner, long number, long until) = session.Query(
                    "select owner, lease, lease_until from source_leases where source = $1",
                    reader => ((string?)reader.GetString(0), reader.GetInt64(1), reader.GetInt64(2)), source).FirstOrDefault();
                long now = session.Now;
                if (owner is not null && IsOwn(source, owner, number))
                {
                    session.Execute("update source_leases set lease_until = $1 where source = $2", now + lease.Ticks, source);
                    return null;
                }

                if (owner is not null && until > now && owner != _owner && !LeaseOwner.IsKnownDead(owner))
                {
                    _sources.TryRemove(source, out _);
                    return LeaseOwner.MachineOf(owner);
                }

                session.Execute(
                    """
                    insert into source_leases (source, owner, lease, lease_until) values ($1, $2, $3, $4)
                    on conflict (source) do update set owner = excluded.owner, lease = excluded.lease, lease_until = excluded.lease_until
                    """,
                    source, _owner, number + 1, now + lease.Ticks);
                _sources[source] = number + 1;
                return null;
            },
            cancellation);

    public async Task LeaveSourceAsync(string source, CancellationToken cancellation)
    {
        if (_sources.TryRemove(source, out long number))
        {
            await WriteAsync(
                session => session.Execute("update source_leases set lease_until = 0 where source = $1 and owner = $2 and lease = $3", source, _owner, number),
                cancellation).ConfigureAwait(false);
        }
    }

    public Task<IReadOnlyList<SpoolStanding>> GetSpoolsAsync(CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<SpoolStanding>>(
            session => session.Query(
                """
                select p.id, p.worker, p.folder, p.seen_at, count(w.id), count(w.owner), min(case when w.owner is null and w.due_at <= $1 then w.due_at end)
                from spools p left join work w on w.spool = p.id
                group by p.id, p.worker, p.folder, p.seen_at order by p.worker, p.folder
                """,
                reader => new SpoolStanding(
                    reader.GetString(0), reader.GetString(1), reader.GetString(2), At(reader, 3), reader.GetInt32(4), reader.GetInt32(5),
                    reader.IsDBNull(6) ? null : At(reader, 6), reader.GetString(0) == _spool?.TryGet()),
                session.Now),
            cancellation);

    private bool IsOwn(string source, string owner, long number) => owner == _owner && _sources.TryGetValue(source, out long held) && held == number;

    /// <summary>Refuses to write of a source that this worker held and that is another's by now. What was never held (a single pass) may be written.</summary>
    private bool IsOthers(StateSession session, string source) => session.Query(
        "select owner from source_leases where source = $1 and lease_until > $2", reader => reader.GetString(0), source, session.Now)
        .Exists(owner => owner != _owner && !LeaseOwner.IsKnownDead(owner));

    private void RequireHeld(StateSession session, string source)
    {
        if (_sources.TryGetValue(source, out long number)
            && session.Execute("update source_leases set owner = owner where source = $1 and owner = $2 and lease = $3", source, _owner, number) == 0)
        {
            throw new SourceLostException(source);
        }
    }

    /// <summary>The spool that work of a stage must lie in to be done here: "" for work that needs no pictures, and where there is one spool only.</summary>
    private string SpoolFor(Stage stage) => _spool is not null && NeedsSpool(stage) ? _spool.Get() : "";

    /// <summary>Confirmations too: an object may have to be compared with what was sent.</summary>
    private static bool NeedsSpool(Stage stage) => stage is Stage.Cues or Stage.Objects or Stage.Deliveries or Stage.Confirmations;

    /// <summary>Tells others where the spool of a new sitting is.</summary>
    private void NoteSpool(StateSession session, string spool)
    {
        if (spool.Length > 0)
        {
            session.Execute(
                """
                insert into spools (id, worker, folder, seen_at) values ($1, $2, $3, $4)
                on conflict (id) do update set worker = excluded.worker, folder = excluded.folder, seen_at = excluded.seen_at
                """,
                spool, LeaseOwner.MachineOf(_owner), _spool!.Folder, session.Now);
        }
    }
}
