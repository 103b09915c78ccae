using System.Runtime.InteropServices;
using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Pipeline.Captures;

/// <summary>What kind of thing a name in a folder stands for.</summary>
internal enum FileKind
{
    /// <summary>The listing does not say; a stat does.</summary>
    Unknown,
    File,
    Folder,
    SymbolicLink,

    /// <summary>A device, a pipe or a socket.</summary>
    Special,
}

/// <summary>Which folder, on which mount of which device: changes when another stick hangs at the same path.</summary>
internal readonly record struct FolderIdentity(ulong Device, ulong Mount, ulong Inode);

/// <summary>Time in whole milliseconds of Unix time: finer than any camera's file system, and what the state keeps.</summary>
internal readonly record struct FileStat(FileKind Kind, long Size, long ModifiedMs, FolderIdentity Identity);

/// <summary>
/// The few calls of Linux that the framework does not offer: opening a name that is no valid text, without following a link and without waiting at
/// a pipe; listing a folder with the kind of each entry; asking whether somebody has a file open for writing; and reading a file from the disk, not
/// from memory. Constants are those of x64 and arm64, see open(2), statx(2), getdents64(2), fcntl(2), posix_fadvise(2).
/// </summary>
internal static partial class SystemCalls
{
    public const int ReadOnlyFileSystem = 30, NotPermitted = 1, NotFound = 2, NoSuchDevice = 6, AccessDenied = 13, NotAFolder = 20, NameTooLong = 36, TooManyLinks = 40;

    private const int TryAgain = 11;
    private const int OpenNoControllingTerminal = 0x100, OpenNonBlocking = 0x800, OpenCloseOnExec = 0x80000;
    private const int AtNoFollow = 0x100, AtEmptyPath = 0x1000, AtRemoveFolder = 0x200;
    private const uint BasicStats = 0x7ff, MountIdUnique = 0x4000;
    private const int SetSignal = 10, SetLease = 1024, ReadLease = 0, NoLease = 2, SignalUrgent = 23;
    private const int NotNeeded = 4;
    private const int StatLength = 256;

    private static readonly bool IsArm = RuntimeInformation.ProcessArchitecture is Architecture.Arm64 or Architecture.Arm;
    private static readonly int OpenNoFollow = IsArm ? 0x8000 : 0x20000;
    private static readonly int OpenFolderOnly = IsArm ? 0x4000 : 0x10000;

    /// <summary>Opens a file for reading. Null with the error number when it cannot be.</summary>
    /// <param name="path">Bytes of the path, ending in 0.</param>
    /// <param name="error">0 or the system's error number.</param>
    public static SafeFileHandle? OpenFile(byte[] path, out int error) => Open(path, OpenNoFollow, out error);

    /// <summary>Opens a folder for listing and syncing. Null with the error number when it cannot be.</summary>
    public static SafeFileHandle? OpenFolder(byte[] path, out int error, bool followLink = false) =>
        Open(path, followLink ? OpenFolderOnly : OpenFolderOnly | OpenNoFollow, out error);

    /// <summary>Opens a name in an open folder for reading; a link is not followed. Null with the error number when it cannot be.</summary>
    /// <param name="folder">The open folder.</param>
    /// <param name="name">Bytes of the name, ending in 0.</param>
    /// <param name="isFolder">Whether it must be a folder.</param>
    /// <param name="error">0 or the system's error number.</param>
    public static SafeFileHandle? OpenIn(SafeFileHandle folder, byte[] name, bool isFolder, out int error)
    {
        int flags = OpenNoFollow | OpenNonBlocking | OpenCloseOnExec | OpenNoControllingTerminal | (isFolder ? OpenFolderOnly : 0);
        int descriptor = OpenAt(folder, name, flags);
        error = descriptor < 0 ? Marshal.GetLastPInvokeError() : 0;
        return descriptor < 0 ? null : new SafeFileHandle(descriptor, ownsHandle: true);
    }

    /// <summary>Removes a name from an open folder: a file, or a folder that is empty.</summary>
    /// <returns>0 or the system's error number.</returns>
    public static int Remove(SafeFileHandle folder, byte[] name, bool isFolder) =>
        UnlinkAt(folder, name, isFolder ? AtRemoveFolder : 0) == 0 ? 0 : Marshal.GetLastPInvokeError();

    /// <summary>Makes the names of a folder durable; file systems that cannot say so are believed.</summary>
    public static void Sync(SafeFileHandle folder) => _ = FSync(folder);

    /// <summary>Kind, size and time of an open file or folder.</summary>
    public static bool TryStat(SafeFileHandle handle, out FileStat stat, out int error)
    {
        byte nothing = 0;
        Span<byte> buffer = stackalloc byte[StatLength];
        error = StatX(handle, in nothing, AtEmptyPath, BasicStats | MountIdUnique, ref buffer[0]) == 0 ? 0 : Marshal.GetLastPInvokeError();
        stat = error == 0 ? Decode(buffer) : default;
        return error == 0;
    }

    /// <summary>Kind, size and time of a name in an open folder; a link is not followed.</summary>
    /// <param name="folder">The open folder.</param>
    /// <param name="name">Bytes of the name; a 0 must follow them in memory.</param>
    /// <param name="stat">What was found.</param>
    /// <param name="error">0 or the system's error number.</param>
    public static bool TryStat(SafeFileHandle folder, ReadOnlySpan<byte> name, out FileStat stat, out int error)
    {
        Span<byte> buffer = stackalloc byte[StatLength];
        error = StatX(folder, in MemoryMarshal.GetReference(name), AtNoFollow, BasicStats, ref buffer[0]) == 0 ? 0 : Marshal.GetLastPInvokeError();
        stat = error == 0 ? Decode(buffer) : default;
        return error == 0;
    }

    /// <summary>Reads the next entries of a folder into the buffer; 0 at the end, negative for an error.</summary>
    public static int ReadEntries(SafeFileHandle folder, byte[] buffer, out int error)
    {
        nint read = GetEntries(folder, buffer, buffer.Length);
        error = read < 0 ? Marshal.GetLastPInvokeError() : 0;
        return (int)read;
    }

    /// <summary>
    /// Whether some process of this machine has the file open for writing. A read lease is refused then; one that is granted is given back at once.
    /// Where leases are not to be had (a network share, somebody else's file) the answer is false, and settling by time alone decides.
    /// </summary>
    public static bool IsOpenForWriting(SafeFileHandle file)
    {
        // A writer who comes in the moment between the two calls makes the kernel send a signal; the default one would end this process.
        if (Control(file, SetSignal, SignalUrgent) != 0)
        {
            return false;
        }

        if (Control(file, SetLease, ReadLease) != 0)
        {
            return Marshal.GetLastPInvokeError() == TryAgain;
        }

        _ = Control(file, SetLease, NoLease);
        return false;
    }

    /// <summary>
    /// Has the system forget what it holds of a synced file in memory, so that the next read comes from the disk, posix_fadvise(2). No more than a wish:
    /// where it is not granted, what is read is the memory's.
    /// </summary>
    public static void ForgetCached(SafeFileHandle file) => _ = Advise(file, 0, 0, NotNeeded);

    /// <summary>The system's words for an error number.</summary>
    public static string Words(int error) => Marshal.GetPInvokeErrorMessage(error);

    private static SafeFileHandle? Open(byte[] path, int flags, out int error)
    {
        int descriptor = OpenPath(path, flags | OpenNonBlocking | OpenCloseOnExec | OpenNoControllingTerminal);
        error = descriptor < 0 ? Marshal.GetLastPInvokeError() : 0;
        return descriptor < 0 ? null : new SafeFileHandle(descriptor, ownsHandle: true);
    }

    /// <summary>struct statx has the same layout on every architecture (statx(2)).</summary>
    private static FileStat Decode(ReadOnlySpan<byte> stat)
    {
        const int kindMask = 0xF000, regular = 0x8000, folder = 0x4000, link = 0xA000;
        int mode = MemoryMarshal.Read<ushort>(stat[28..]);
        long seconds = MemoryMarshal.Read<long>(stat[112..]);
        long nanoseconds = MemoryMarshal.Read<uint>(stat[120..]);
        ulong device = ((ulong)MemoryMarshal.Read<uint>(stat[136..]) << 32) | MemoryMarshal.Read<uint>(stat[140..]);
        FileKind kind = (mode & kindMask) switch
        {
            regular => FileKind.File,
            folder => FileKind.Folder,
            link => FileKind.SymbolicLink,
            _ => FileKind.Special,
        };
        var identity = new FolderIdentity(device, MemoryMarshal.Read<ulong>(stat[144..]), MemoryMarshal.Read<ulong>(stat[32..]));
        return new FileStat(kind, MemoryMarshal.Read<long>(stat[40..]), checked((seconds * 1000) + (nanoseconds / 1_000_000)), identity);
    }

    [LibraryImport("libc", EntryPoint = "open", SetLastError = true)]
    private static partial int OpenPath(byte[] path, int flags);

    [LibraryImport("libc", EntryPoint = "openat", SetLastError = true)]
    private static partial int OpenAt(SafeFileHandle folder, byte[] name, int flags);

    [LibraryImport("libc", EntryPoint = "unlinkat", SetLastError = true)]
    private static partial int UnlinkAt(SafeFileHandle folder, byte[] name, int flags);

    [LibraryImport("libc", EntryPoint = "fsync", SetLastError = true)]
    private static partial int FSync(SafeFileHandle folder);

    [LibraryImport("libc", EntryPoint = "statx", SetLastError = true)]
    private static partial int StatX(SafeFileHandle folder, in byte name, int flags, uint mask, ref byte stat);

    [LibraryImport("libc", EntryPoint = "getdents64", SetLastError = true)]
    private static partial nint GetEntries(SafeFileHandle folder, [In, Out] byte[] buffer, nint length);

    [LibraryImport("libc", EntryPoint = "posix_fadvise")]
    private static partial int Advise(SafeFileHandle file, long offset, long length, int advice);

    [LibraryImport("libc", EntryPoint = "fcntl", SetLastError = true)]
    private static partial int Control(SafeFileHandle file, int command, nint argument);
}
