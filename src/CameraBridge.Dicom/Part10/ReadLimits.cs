namespace CameraBridge.Dicom.Part10;

/// <summary>
/// What a reader may spend on bytes that somebody else made. Every length is first held against what is really there, then against these;
/// memory is taken only after both.
/// </summary>
public sealed record ReadLimits
{
    /// <summary>The limits for files and answers that are not known to be special.</summary>
    public static ReadLimits Default { get; } = new();

    /// <summary>Largest value held in memory, in bytes. Pixel data of files is not held and so not limited by it.</summary>
    public int MaxElementBytes { get; init; } = 64 * 1024 * 1024;

    /// <summary>Largest data set read from a stream that is not a file, in bytes.</summary>
    public int MaxStreamBytes { get; init; } = 256 * 1024 * 1024;

    /// <summary>Largest outcome of inflating a deflated data set, in bytes.</summary>
    public int MaxInflatedBytes { get; init; } = 256 * 1024 * 1024;

    /// <summary>Deepest nesting of sequences.</summary>
    public int MaxDepth { get; init; } = 64;

    /// <summary>Most elements, items and fragments in one data set, all levels together.</summary>
    public int MaxElements { get; init; } = 500_000;
}
