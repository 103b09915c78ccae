using System.Buffers;
using System.Security.Cryptography;
using CameraBridge.Dicom.Data;
using CameraBridge.Pipeline.Captures;
using Microsoft.Win32.SafeHandles;

namespace CameraBridge.Commands.Exports;

/// <summary>What was to be copied cannot be read; where it was to go is well.</summary>
internal sealed class UnreadableObjectException(string message, Exception inner) : Exception(message, inner);

/// <summary>Copies bytes, hashes them on the way, and hashes what became of them.</summary>
internal static class HashedCopy
{
    private const int BufferLength = 1 << 20;

    /// <summary>Copies all bytes.</summary>
    /// <returns>SHA-256 of what was read, 64 lower-case hexadecimal digits.</returns>
    /// <exception cref="UnreadableObjectException">The source cannot be read.</exception>
    /// <exception cref="IOException">The target cannot be written.</exception>
    public static async Task<string> CopyAsync(PixelSource bytes, Stream target, CancellationToken cancellation)
    {
        using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
        byte[] buffer = ArrayPool<byte>.Shared.Rent(BufferLength);
        try
        {
            Stream source = bytes.OpenRead();
            await using (source.ConfigureAwait(false))
            {
                while (await ReadAsync(source, buffer, cancellation).ConfigureAwait(false) is > 0 and int read)
                {
                    hash.AppendData(buffer, 0, read);
                    await target.WriteAsync(buffer.AsMemory(0, read), cancellation).ConfigureAwait(false);
                }
            }

            return Convert.ToHexStringLower(hash.GetHashAndReset());
        }
        finally
        {
            ArrayPool<byte>.Shared.Return(buffer);
        }
    }

    /// <summary>SHA-256 of bytes that are written nowhere.</summary>
    /// <exception cref="UnreadableObjectException">They cannot be read.</exception>
    public static Task<string> HashAsync(PixelSource bytes, CancellationToken cancellation) => CopyAsync(bytes, Stream.Null, cancellation);

    /// <summary>A fault of what is read must not be taken for one of the medium.</summary>
    private static async Task<int> ReadAsync(Stream source, byte[] buffer, CancellationToken cancellation)
    {
        try
        {
            return await source.ReadAsync(buffer, cancellation).ConfigureAwait(false);
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            throw new UnreadableObjectException(error.Message, error);
        }
    }

    /// <summary>SHA-256 of a file as the disk has it, not as memory remembers it.</summary>
    /// <exception cref="IOException">It cannot be read.</exception>
    public static async Task<string> ReadBackAsync(string path, CancellationToken cancellation)
    {
        using SafeFileHandle file = File.OpenHandle(path);
        SystemCalls.ForgetCached(file);
        byte[] buffer = ArrayPool<byte>.Shared.Rent(BufferLength);
        try
        {
            using var hash = IncrementalHash.CreateHash(HashAlgorithmName.SHA256);
            for (long at = 0; await RandomAccess.ReadAsync(file, buffer, at, cancellation).ConfigureAwait(false) is > 0 and int read; at += read)
            {
                hash.AppendData(buffer, 0, read);
            }

            return Convert.ToHexStringLower(hash.GetHashAndReset());
        }
        finally
        {
            ArrayPool<byte>.Shared.Return(buffer);
        }
    }
}
