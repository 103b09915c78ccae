using System.Buffers;
using System.Buffers.Binary;
using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Pipeline.Captures;

/// <summary>
/// Lists one folder: names and kinds only, as many as fit a buffer for each call of the system. Nothing is allocated for an entry, so a folder of
/// files that are all known costs no memory.
/// </summary>
internal sealed class FolderReader : IDisposable
{
    private const int BufferLength = 64 * 1024;

    /// <summary>struct linux_dirent64: inode 8, offset 8, length 2, kind 1, then the name and a 0 (getdents64(2)).</summary>
    private const int LengthAt = 16, KindAt = 18, NameAt = 19;

    private readonly SafeFileHandle? _folder;
    private readonly byte[] _buffer = ArrayPool<byte>.Shared.Rent(BufferLength);
    private int _filled;
    private int _at;

    private FolderReader(byte[] path, bool followLink)
    {
        _folder = SystemCalls.OpenFolder(path, out int error, followLink);
        Error = error;
    }

    /// <summary>System error that kept the folder from being opened or ended the listing early; 0 when it ran to its end.</summary>
    public int Error { get; private set; }

    /// <summary>Opens a folder; unless <paramref name="followLink"/>, the path's last part must be no link. The reader must be disposed of, open or not.</summary>
    public static FolderReader Open(byte[] path, bool followLink = false) => new(path, followLink);

    /// <summary>The folder itself; false when it is not open.</summary>
    public bool TryStat(out FileStat stat)
    {
        stat = default;
        return _folder is not null && SystemCalls.TryStat(_folder, out stat, out _);
    }

    /// <summary>Size and time of the entry that was just read.</summary>
    public bool TryStat(ReadOnlySpan<byte> name, out FileStat stat, out int error) => SystemCalls.TryStat(_folder!, name, out stat, out error);

    /// <summary>The next entry; the name is valid until the next call. "." and ".." are left out.</summary>
    public bool Read(out ReadOnlySpan<byte> name, out FileKind kind)
    {
        while (true)
        {
            if (_at >= _filled)
            {
                _at = 0;
                _filled = SystemCalls.ReadEntries(_folder!, _buffer, out int error);
                if (_filled <= 0)
                {
                    Error = error;
                    name = default;
                    kind = default;
                    return false;
                }
            }

            ReadOnlySpan<byte> entry = _buffer.AsSpan(_at, BinaryPrimitives.ReadUInt16LittleEndian(_buffer.AsSpan(_at + LengthAt)));
            _at += entry.Length;
            name = entry[NameAt..];
            name = name[..name.IndexOf((byte)0)];
            if (name is not ([(byte)'.'] or [(byte)'.', (byte)'.']))
            {
                kind = KindOf(entry[KindAt]);
                return true;
            }
        }
    }

    public void Dispose()
    {
        _folder?.Dispose();
        ArrayPool<byte>.Shared.Return(_buffer);
    }

    private static FileKind KindOf(byte kind) => kind switch
    {
        0 => FileKind.Unknown,
        4 => FileKind.Folder,
        8 => FileKind.File,
        10 => FileKind.SymbolicLink,
        _ => FileKind.Special,
    };
}
