using System.Runtime.InteropServices;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>
/// The libturbojpeg of the system, where one is installed: it decodes the luminance of a JPEG alone, with the processor's vector instructions, in less than half the time of the
/// decoder that the program brings. It is never needed: what it does not decode without a complaint is left to the other. Calls and constants are those of version 2 of its
/// interface, which version 3 keeps (turbojpeg.h of libjpeg-turbo 2.1).
/// </summary>
internal sealed unsafe class SystemJpeg
{
    /// <summary>The name under which both versions are installed; one without the number comes with the development package.</summary>
    private const string Library = "libturbojpeg.so.0";

    /// <summary>TJPF_GRAY.</summary>
    private const int Grey = 6;

    /// <summary>TJFLAG_LIMITSCANS: a progressive file of more than 500 scans is refused; it would take minutes.</summary>
    private const int LimitScans = 32768;

    private readonly delegate* unmanaged<nint> _begin;

    private readonly delegate* unmanaged<nint, byte*, nuint, int*, int*, int*, int*, int> _readHeader;

    private readonly delegate* unmanaged<nint, byte*, nuint, byte*, int, int, int, int, int, int> _decompress;

    private readonly delegate* unmanaged<nint, int> _destroy;

    private SystemJpeg(nint begin, nint readHeader, nint decompress, nint destroy)
    {
        _begin = (delegate* unmanaged<nint>)begin;
        _readHeader = (delegate* unmanaged<nint, byte*, nuint, int*, int*, int*, int*, int>)readHeader;
        _decompress = (delegate* unmanaged<nint, byte*, nuint, byte*, int, int, int, int, int, int>)decompress;
        _destroy = (delegate* unmanaged<nint, int>)destroy;
    }

    /// <summary>Null where the system has none.</summary>
    public static SystemJpeg? Installed { get; } = Load();

    /// <summary>Decodes the luminance, reduced by eighths while decoding.</summary>
    /// <param name="file">The file.</param>
    /// <param name="width">Columns wanted: those of the file, or as many as a number of eighths makes of them, rounded up.</param>
    /// <param name="height">Rows wanted, likewise.</param>
    /// <param name="grey">Takes them, row by row.</param>
    /// <returns>False where there was anything to complain of: a torn or damaged file, colours that have no luminance, a size that it has not.</returns>
    /// <exception cref="ArgumentOutOfRangeException">They have no room there.</exception>
    public bool TryDecode(ReadOnlySpan<byte> file, int width, int height, Span<byte> grey)
    {
        ArgumentOutOfRangeException.ThrowIfLessThan(grey.Length, (long)width * height);
        nint decompressor = _begin();
        if (decompressor == 0)
        {
            return false;
        }

        try
        {
            fixed (byte* from = file, to = grey)
            {
                // Into a larger room it would decode without a complaint, and leave the rest as it was.
                (int columns, int rows, int subsampling, int colours) = (0, 0, 0, 0);
                return _readHeader(decompressor, from, (nuint)file.Length, &columns, &rows, &subsampling, &colours) == 0
                    && IsReduced(columns, rows, width, height)
                    && _decompress(decompressor, from, (nuint)file.Length, to, width, width, height, Grey, LimitScans) == 0;
            }
        }
        finally
        {
            _ = _destroy(decompressor);
        }
    }

    private static bool IsReduced(int columns, int rows, int width, int height) =>
        Enumerable.Range(1, 8).Any(eighths => Reduced(columns, eighths) == width && Reduced(rows, eighths) == height);

    /// <summary>TJSCALED.</summary>
    private static long Reduced(long size, int eighths) => ((size * eighths) + 7) / 8;

    private static SystemJpeg? Load() =>
        NativeLibrary.TryLoad(Library, out nint library) && NativeLibrary.TryGetExport(library, "tjInitDecompress", out nint begin)
            && NativeLibrary.TryGetExport(library, "tjDecompressHeader3", out nint readHeader) && NativeLibrary.TryGetExport(library, "tjDecompress2", out nint decompress) && NativeLibrary.TryGetExport(library, "tjDestroy", out nint destroy)
            ? new SystemJpeg(begin, readHeader, decompress, destroy)
            : null;
}
