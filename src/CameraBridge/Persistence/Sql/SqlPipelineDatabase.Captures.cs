using System.Data.Common;
using System.Runtime.CompilerServices;
using System.Text.Json;
using CameraBridge.Pipeline.Sittings;
using CameraBridge.Pipeline;

namespace CameraBridge.Persistence.Sql;

/// <summary>Captures and the scanner's memory.</summary>
internal abstract partial class SqlPipelineDatabase
{
    private const int KnownFilesPage = 20_000;

    private const string CaptureColumns =
        "id, sitting_id, source, place, folder, size, modified_at, sha256, spool_name, settled_at, taken_at, taken_at_origin, state, held_reason, position, camera";

    /// <summary>A closing that was asked for while cues are still being read is looked at again after this time, if the last cue did not make it due before.</summary>
    private static readonly TimeSpan CuesWait = TimeSpan.FromSeconds(30);

    public async IAsyncEnumerable<KnownFile> KnownFilesAsync(string source, [EnumeratorCancellation] CancellationToken cancellation)
    {
        // In pages, so that no reader stays open while the caller works: an open reader would keep the write-ahead log from being emptied.
        long last = 0;
        while (true)
        {
            List<(long Id, KnownFile File)> page = await ReadAsync(
                session => session.Query(
                    "select id, place, size, modified_at from known_files where source = $1 and id > $2 order by id limit $3",
                    reader => (reader.GetInt64(0), new KnownFile(reader.GetString(1), reader.GetInt64(2), At(reader, 3))),
                    source, last, KnownFilesPage),
                cancellation).ConfigureAwait(false);
            foreach ((long id, KnownFile file) in page)
            {
                last = id;
                yield return file;
            }

            if (page.Count < KnownFilesPage)
            {
                yield break;
            }
        }
    }

    public Task<IReadOnlyList<long>> AddCapturesAsync(IReadOnlyList<Capture> captures, TimeSpan quietTime, CancellationToken cancellation) =>
        WriteAsync<IReadOnlyList<long>>(
            session =>
            {
                foreach (string source in captures.Select(capture => capture.Source).Distinct(StringComparer.Ordinal))
                {
                    RequireHeld(session, source);
                }

                long closesAt = session.Now + quietTime.Ticks;
                var sittings = new Dictionary<(string Source, string Folder), long>();
                var ids = new List<long>(captures.Count);
                foreach (Capture capture in captures)
                {
                    NoteSeen(session, capture.Source, capture.Place, capture.Size, capture.ModifiedAt);
                    bool known = session.QueryNumber(
                        "select id from captures where source = $1 and place = $2 and sha256 = $3", capture.Source, capture.Place, capture.Sha256) is not null;
                    ids.Add(known ? 0 : AddCapture(session, capture, SittingFor(session, sittings, capture, closesAt)));
                }

                foreach (long sitting in sittings.Values)
                {
                    session.Execute("update sittings set closes_at = $1 where id = $2", closesAt, sitting);
                    session.Execute("update work set due_at = $1 where stage = 'Sittings' and subject_id = $2", closesAt, sitting);
                }

                return ids;
            },
            cancellation);

    public Task NoteSeenAsync(string source, IReadOnlyList<KnownFile> files, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                RequireHeld(session, source);
                foreach (KnownFile file in files)
                {
                    NoteSeen(session, source, file.Place, file.Size, file.ModifiedAt);
                }

                return files.Count;
            },
            cancellation);

    public Task<IReadOnlyList<KnownContent>> KnownContentsAsync(string source, IReadOnlyList<string> places, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<KnownContent>>(
            session => session.Query(
                "select place, folder, size, sha256 from captures where source = $1 and place in texts($2)",
                ReadKnownContent, source, JsonSerializer.Serialize(places)),
            cancellation);

    public Task<IReadOnlyList<KnownContent>> OpenContentsAsync(string source, int most, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<KnownContent>>(
            session => session.Query(
                """
                select c.place, c.folder, c.size, c.sha256 from sittings s join captures c on c.sitting_id = s.id
                where s.source = $1 and s.joinable = 1 order by c.id desc limit $2
                """,
                ReadKnownContent, source, most),
            cancellation);

    public Task CloseSoonAsync(string source, string? below, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                RequireHeld(session, source);
                List<long> open = session.Query(
                    """
                    select id from sittings
                    where source = $1 and joinable = 1 and ($2 = '' or folder = $2 or substr(folder, 1, length($2) + 1) = $2 || '/')
                    """,
                    reader => reader.GetInt64(0), source, below ?? "");
                foreach (long sitting in open)
                {
                    session.Execute("update sittings set joinable = 0, closes_at = $1 where id = $2", session.Now, sitting);
                    session.Execute(
                        "update work set due_at = $1 where stage = 'Sittings' and subject_id = $2", HasCuesWork(session, sitting) ? session.Now + CuesWait.Ticks : session.Now, sitting);
                }

                return open.Count;
            },
            cancellation);

    public Task PostponeClosingAsync(string source, IReadOnlyCollection<string>? folders, TimeSpan time, CancellationToken cancellation) =>
        WriteAsync(
            session => IsOthers(session, source) ? 0 : session.Execute(
                $"""
                update work set due_at = $1
                where stage = 'Sittings' and due_at < $1
                    and subject_id in (select id from sittings where source = $2 and joinable = 1 {(folders is null ? "" : "and folder in texts($3)")})
                """,
                [session.Now + time.Ticks, source, .. folders is null ? [] : new object[] { JsonSerializer.Serialize(folders) }]),
            cancellation);

    public Task ResumeClosingAsync(string source, CancellationToken cancellation) =>
        WriteAsync(
            session =>
            {
                RequireHeld(session, source);
                return session.Execute(
                    """
                    update work set due_at = (select s.closes_at from sittings s where s.id = work.subject_id)
                    where stage = 'Sittings' and subject_id in (select id from sittings where source = $1 and joinable = 1)
                    """,
                    source);
            },
            cancellation);

    public Task<IReadOnlyList<Capture>> GetCapturesAsync(IReadOnlyList<long> captureIds, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<Capture>>(
            session =>
            {
                Dictionary<long, Capture> found = session.Query(
                    $"select {CaptureColumns} from captures where id in ids($1)", ReadCapture, Ids(captureIds))
                    .ToDictionary(row => row.Capture.Id, row => row.Capture);
                return [.. captureIds.Where(found.ContainsKey).Select(id => found[id])];
            },
            cancellation);

    public Task<IReadOnlyList<Capture>> GetCapturesOfSittingAsync(long sittingId, CancellationToken cancellation) =>
        ReadAsync<IReadOnlyList<Capture>>(session => CapturesOf(session, sittingId), cancellation);

    private static List<Capture> CapturesOf(StateSession session, long sittingId) =>
        [.. session.Query($"select {CaptureColumns} from captures where sitting_id = $1", ReadCapture, sittingId)
            .OrderBy(row => row.Position ?? long.MaxValue)
            .ThenBy(row => row.Capture.Place, PlaceOrder.Natural)
            .Select(row => row.Capture)];

    private static (Capture Capture, long? Position) ReadCapture(DbDataReader reader) => (
        new Capture
        {
            Id = reader.GetInt64(0),
            SittingId = reader.GetInt64(1),
            Source = reader.GetString(2),
            Place = reader.GetString(3),
            Folder = reader.GetString(4),
            Size = reader.GetInt64(5),
            ModifiedAt = At(reader, 6),
            Sha256 = reader.GetString(7),
            SpoolName = reader.GetString(8),
            SettledAt = At(reader, 9),
            TakenAt = Text(reader, 10) is { } text ? FromIso(text) : null,
            TakenAtOrigin = Text(reader, 11),
            State = Word<CaptureState>(reader, 12),
            HeldReason = Text(reader, 13),
            Camera = Text(reader, 15),
        },
        reader.IsDBNull(14) ? null : reader.GetInt64(14));

    private static KnownContent ReadKnownContent(DbDataReader reader) =>
        new(reader.GetString(0), reader.GetString(1), reader.GetInt64(2), reader.GetString(3));

    private void NoteSeen(StateSession session, string source, string place, long size, DateTimeOffset modifiedAt) =>
        session.Execute(NoteSeenStatement, source, place, size, modifiedAt.UtcTicks);

    private static long AddCapture(StateSession session, Capture capture, long sittingId)
    {
        long id = session.QueryNumber(
            """
            insert into captures (sitting_id, source, place, folder, size, modified_at, sha256, spool_name, settled_at, state)
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, 'Taken') returning id
            """,
            sittingId, capture.Source, capture.Place, capture.Folder, capture.Size, capture.ModifiedAt.UtcTicks, capture.Sha256, capture.SpoolName,
            capture.SettledAt.UtcTicks)!.Value;
        AddWork(session, Stage.Cues, id, "", session.Now);
        return id;
    }

    /// <summary>The sitting that captures of this folder join now, or a new one, which follows the folder's last and begins late.</summary>
    private long SittingFor(StateSession session, Dictionary<(string Source, string Folder), long> sittings, Capture capture, long closesAt)
    {
        if (sittings.TryGetValue((capture.Source, capture.Folder), out long id))
        {
            return id;
        }

        string spool = SpoolFor(Stage.Cues);
        id = session.QueryNumber(
            "select id from sittings where source = $1 and folder = $2 and spool = $3 and joinable = 1", capture.Source, capture.Folder, spool) ?? 0;
        if (id == 0)
        {
            long follows = session.QueryNumber("select max(id) from sittings where source = $1 and folder = $2", capture.Source, capture.Folder) ?? 0;
            id = session.QueryNumber(
                """
                insert into sittings (source, folder, spool, state, joinable, opened_at, closes_at, follows_sitting_id, begins)
                values ($1, $2, $3, 'Open', 1, $4, $5, $6, $7) returning id
                """,
                capture.Source, capture.Folder, spool, session.Now, closesAt, follows, follows == 0 ? SittingBegins.Folder : SittingBegins.Late)!.Value;
            NoteSpool(session, spool);
            AddWork(session, Stage.Sittings, id, "", closesAt);
        }

        sittings.Add((capture.Source, capture.Folder), id);
        return id;
    }
}
