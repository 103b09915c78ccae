using System.Buffers;
using System.Security.Cryptography;
using System.Text;
using CameraBridge.Persistence;
using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Pipeline.Captures;

/// <summary>What came of an attempt to take a file.</summary>
internal enum CopyOutcome
{
    /// <summary>It lies in the spool under its name; the folder has still to be synced and the row to be written.</summary>
    Copied,

    /// <summary>Its content was taken from this place before.</summary>
    Known,

    /// <summary>It is not as it was when it seemed to rest.</summary>
    Changed,

    OpenForWriting,
    Unfinished,
    Empty,
    Foreign,

    /// <summary>No file (any more): vanished, or a link or device took its place.</summary>
    Gone,
    PathTooLong,

    /// <summary>Opening is not permitted: a matter of permissions, which no quick retry mends.</summary>
    NotPermitted,

    /// <summary>Opening or reading failed.</summary>
    Failed,
}

/// <summary>The result for one file; the words are the system's and name no file.</summary>
internal readonly record struct CopyResult(CopyOutcome Outcome, FileStat Stat = default, string? Sha256 = null, string? SpoolName = null, string? Words = null);

/// <summary>
/// Takes one settled file: reads it once, hashing while it is written to the spool, and looks at size and time before and after. The source is
/// opened for reading only. Used by one thread at a time.
/// </summary>
internal sealed class CaptureCopy(string root, Spool spool, Heartbeat heartbeat) : IDisposable
{
    private const int BufferLength = 1 << 20;

    private readonly byte[] _buffer = ArrayPool<byte>.Shared.Rent(BufferLength);

    /// <summary>Takes the file unless there is a reason not to.</summary>
    /// <param name="file">What was seen of it.</param>
    /// <param name="known">Contents taken from its place before.</param>
    /// <param name="cancellation">Gives a large file up in the middle.</param>
    /// <exception cref="SpoolUnavailableException">The spool takes no more.</exception>
    public CopyResult Take(SettlingFile file, IEnumerable<KnownContent> known, CancellationToken cancellation)
    {
        NameVerdict name = CaptureNames.OfFile(Encoding.UTF8.GetBytes(file.Place[(file.Place.LastIndexOf('/') + 1)..]));
        if (name == NameVerdict.Unfinished)
        {
            return new CopyResult(CopyOutcome.Unfinished);
        }

        using SafeFileHandle? source = SystemCalls.OpenFile(Places.ToPath(root, file.Place), out int error);
        if (source is null || !SystemCalls.TryStat(source, out FileStat before, out error))
        {
            return OfError(error);
        }

        if (before.Kind != FileKind.File)
        {
            return new CopyResult(CopyOutcome.Gone);
        }

        if (!file.Overdue && (before.Size != file.Size || before.ModifiedMs != file.ModifiedMs))
        {
            return new CopyResult(CopyOutcome.Changed, before);
        }

        if (before.Size == 0)
        {
            return new CopyResult(CopyOutcome.Empty, before);
        }

        if (!file.Overdue && SystemCalls.IsOpenForWriting(source))
        {
            return new CopyResult(CopyOutcome.OpenForWriting, before);
        }

        try
        {
            return Take(source, before, name == NameVerdict.Capture, known, cancellation);
        }
        catch (SourceReadException failure)
        {
            return new CopyResult(CopyOutcome.Failed, before, Words: failure.Message);
        }
    }

    public void Dispose() => ArrayPool<byte>.Shared.Return(_buffer);

    private CopyResult Take(SafeFileHandle source, FileStat before, bool isCaptureByName, IEnumerable<KnownContent> known, CancellationToken cancellation)
    {
        int first = Read(source, 0);
        if (!isCaptureByName && !ContentSignature.IsPictureOrClip(_buffer.AsSpan(0, first)))
        {
            return new CopyResult(CopyOutcome.Foreign, before);
        }

        HashSet<string> hashes = [.. known.Where(content => content.Size == before.Size).Select(content => content.Sha256)];
        if (hashes.Count > 0)
        {
            string? hash = Hash(source, before.Size, first, to: null, cancellation);
            if (hash is null || !IsAsBefore(source, before))
            {
                return Changed(source);
            }

            if (hashes.Contains(hash))
            {
                return new CopyResult(CopyOutcome.Known, before, hash);
            }

            first = Read(source, 0);
        }

        SafeFileHandle temporary = spool.Create(before.Size, out string path);
        bool kept = false;
        try
        {
            string? hash = Hash(source, before.Size, first, temporary, cancellation);
            if (hash is null || !IsAsBefore(source, before))
            {
                return Changed(source);
            }

            string spoolName = spool.Keep(temporary, path, hash);
            kept = true;
            return new CopyResult(CopyOutcome.Copied, before, hash, spoolName);
        }
        finally
        {
            if (!kept)
            {
                Spool.Discard(temporary, path);
            }

            temporary.Dispose();
        }
    }

    /// <summary>Whether this very content lies at its place.</summary>
    public bool Holds(KnownContent content, CancellationToken cancellation)
    {
        using SafeFileHandle? source = SystemCalls.OpenFile(Places.ToPath(root, content.Place), out _);
        if (source is null || !SystemCalls.TryStat(source, out FileStat stat, out _) || stat.Kind != FileKind.File || stat.Size != content.Size)
        {
            return false;
        }

        try
        {
            return Hash(source, stat.Size, Read(source, 0), to: null, cancellation) == content.Sha256;
        }
        catch (SourceReadException)
        {
            return false;
        }
    }

    /// <summary>Reads the file from its start, whose first bytes are in the buffer, hashing and perhaps writing. Null when it is not of the size it had.</summary>
    private string? Hash(SafeFileHandle source, long size, int first, SafeFileHandle? to, CancellationToken cancellation)
    {
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        long offset = 0;
        for (int read = first; read > 0; read = Read(source, offset))
        {
            cancellation.ThrowIfCancellationRequested();
            hash.AppendData(_buffer, 0, read);
            if (to is not null)
            {
                spool.Write(to, _buffer.AsSpan(0, read), offset);
            }

            offset += read;
            if (offset > size)
            {
                return null;
            }

            if (read < _buffer.Length)
            {
                break;
            }
        }

        return offset == size ? Convert.ToHexStringLower(hash.GetHashAndReset()) : null;
    }

    /// <summary>Fills the buffer from the offset on; less than full only at the end of the file.</summary>
    private int Read(SafeFileHandle source, long offset)
    {
        int filled = 0;
        heartbeat.Beat();
        try
        {
            while (filled < _buffer.Length)
            {
                int read = RandomAccess.Read(source, _buffer.AsSpan(filled), offset + filled);
                if (read == 0)
                {
                    break;
                }

                filled += read;
            }
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            throw new SourceReadException(error.Message);
        }

        return filled;
    }

    private static bool IsAsBefore(SafeFileHandle source, FileStat before) =>
        SystemCalls.TryStat(source, out FileStat after, out _) && after.Size == before.Size && after.ModifiedMs == before.ModifiedMs;

    private static CopyResult Changed(SafeFileHandle source) =>
        SystemCalls.TryStat(source, out FileStat now, out int error) ? new CopyResult(CopyOutcome.Changed, now) : OfError(error);

    private static CopyResult OfError(int error) => error switch
    {
        SystemCalls.NotFound or SystemCalls.NotAFolder or SystemCalls.TooManyLinks => new CopyResult(CopyOutcome.Gone),
        SystemCalls.NoSuchDevice => new CopyResult(CopyOutcome.Gone),
        SystemCalls.NameTooLong => new CopyResult(CopyOutcome.PathTooLong),
        SystemCalls.AccessDenied or SystemCalls.NotPermitted => new CopyResult(CopyOutcome.NotPermitted, Words: SystemCalls.Words(error)),
        _ => new CopyResult(CopyOutcome.Failed, Words: SystemCalls.Words(error)),
    };

    /// <summary>Reading the source failed in the middle; kept apart from failures of the spool.</summary>
    private sealed class SourceReadException(string message) : Exception(message);
}
