using System.Buffers.Binary;
using System.Security.Cryptography;

namespace CameraBridge.Pipeline.Captures;

/// <summary>What is remembered of a place: how the file looked when it was taken or skipped, and when it was looked at.</summary>
internal struct Mark
{
    public long Size;
    public long ModifiedMs;

    /// <summary>Scan that saw the name last.</summary>
    public uint Seen;

    /// <summary>Scan that compared size and time last; 0: has to be compared.</summary>
    public uint Compared;

    /// <summary>None for a capture; else why it is none.</summary>
    public SkipReason Reason;
}

/// <summary>
/// The places of a source that need no second look, without their names: a 128-bit hash each (SHA-256 cut short, so that nobody can make
/// a file that is taken for another), and size and time. 200,000 places take about 15 MB.
/// </summary>
internal sealed class KnownPlaces
{
    private const int LongestOnStack = 512;

    private readonly Dictionary<UInt128, Mark> _marks = [];

    public int Count => _marks.Count;

    /// <summary>The key of a place from its UTF-8 text.</summary>
    public static UInt128 KeyOf(ReadOnlySpan<byte> place)
    {
        Span<byte> hash = stackalloc byte[SHA256.HashSizeInBytes];
        SHA256.HashData(place, hash);
        return BinaryPrimitives.ReadUInt128LittleEndian(hash);
    }

    public static UInt128 KeyOf(string place)
    {
        int length = System.Text.Encoding.UTF8.GetMaxByteCount(place.Length);
        Span<byte> utf8 = length <= LongestOnStack ? stackalloc byte[LongestOnStack] : new byte[length];
        return KeyOf(utf8[..System.Text.Encoding.UTF8.GetBytes(place, utf8)]);
    }

    /// <summary>A few digits that name a place in the log, where its own name must not stand: it may be a patient's.</summary>
    public static string LogId(string place) => (KeyOf(place) >> 96).ToString("x8", System.Globalization.CultureInfo.InvariantCulture);

    /// <summary>The mark of a place, to be changed in place; a null reference when there is none.</summary>
    public ref Mark Find(UInt128 key) => ref System.Runtime.InteropServices.CollectionsMarshal.GetValueRefOrNullRef(_marks, key);

    public void Set(UInt128 key, in Mark mark) => _marks[key] = mark;

    public void Remove(UInt128 key) => _marks.Remove(key);

    public void Clear() => _marks.Clear();

    public void EnsureCapacity(int count) => _marks.EnsureCapacity(count);

    /// <summary>Every place has to be compared again.</summary>
    public void DoubtAll()
    {
        foreach (UInt128 key in _marks.Keys)
        {
            Find(key).Compared = 0;
        }
    }

    /// <summary>Forgets the places that a complete scan did not see.</summary>
    public void DropUnseen(uint scan)
    {
        foreach ((UInt128 key, Mark mark) in _marks)
        {
            if (mark.Seen != scan)
            {
                _marks.Remove(key);
            }
        }
    }
}
