using System.Buffers.Binary;
using System.Text;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>One piece of an ICC profile in a JPEG APP2 segment (ICC.1, Annex "Embedding ICC profiles in JFIF files").</summary>
/// <param name="Number">Which piece it is, from 1.</param>
/// <param name="Count">How many there are.</param>
/// <param name="Data">Its bytes.</param>
public readonly record struct IccChunk(byte Number, byte Count, ReadOnlyMemory<byte> Data);

/// <summary>An ICC profile (ISO 15076-1 section 7.2): its bytes and what its header says.</summary>
public sealed class IccProfile
{
    private const int HeaderLength = 128;

    private IccProfile(ReadOnlyMemory<byte> bytes)
    {
        Bytes = bytes;
        DeviceClass = Ascii(bytes.Span.Slice(12, 4));
        DataColorSpace = Ascii(bytes.Span.Slice(16, 4));
        Description = FindDescription(bytes.Span);
    }

    /// <summary>The profile, as long as its header says.</summary>
    public ReadOnlyMemory<byte> Bytes { get; }

    /// <summary>Profile/device class signature: scnr, mntr, prtr, spac ...</summary>
    public string DeviceClass { get; }

    /// <summary>Data colour space signature without trailing spaces: RGB, GRAY, CMYK ...</summary>
    public string DataColorSpace { get; }

    /// <summary>The profile's description in its first language, or null.</summary>
    public string? Description { get; }

    /// <summary>
    /// The defined term of Color Space (0028,2002) for a profile that bears the name of a well-known space (PS3.3 section C.11.15.1.2), or null.
    /// </summary>
    public string? ColorSpace => Description switch
    {
        null => null,
        { } name when name.StartsWith("sRGB", StringComparison.OrdinalIgnoreCase) => "SRGB",
        { } name when name.StartsWith("Adobe RGB (1998)", StringComparison.OrdinalIgnoreCase) => "ADOBERGB",
        { } name when name.Contains("ROMM", StringComparison.OrdinalIgnoreCase) || name.StartsWith("ProPhoto", StringComparison.OrdinalIgnoreCase) => "ROMMRGB",
        _ => null,
    };

    /// <summary>True when the profile can describe a colour picture's samples: RGB, of an input, display, output or colour space class.</summary>
    public bool FitsRgb => DataColorSpace == "RGB" && DeviceClass is "scnr" or "mntr" or "prtr" or "spac";

    /// <summary>Puts the pieces together in the order of their numbers.</summary>
    /// <param name="chunks">The pieces in any order, such as <see cref="JpegHeader.IccChunks"/>.</param>
    /// <param name="flaw">Why there is no profile although there are pieces, or null.</param>
    /// <returns>The profile, or null when there is none or it cannot be used.</returns>
    public static IccProfile? Assemble(IReadOnlyList<IccChunk> chunks, out string? flaw)
    {
        ArgumentNullException.ThrowIfNull(chunks);
        flaw = null;
        if (chunks.Count == 0)
        {
            return null;
        }

        int count = chunks[0].Count;
        var ordered = new IccChunk?[count + 1];
        foreach (IccChunk chunk in chunks)
        {
            if (chunk.Count != count || chunk.Number < 1 || chunk.Number > count || ordered[chunk.Number] is not null)
            {
                flaw = "The pieces of the colour profile contradict each other.";
                return null;
            }

            ordered[chunk.Number] = chunk;
        }

        if (chunks.Count != count)
        {
            flaw = "A piece of the colour profile is missing.";
            return null;
        }

        byte[] bytes = new byte[chunks.Sum(chunk => chunk.Data.Length)];
        int at = 0;
        foreach (IccChunk? chunk in ordered.Skip(1))
        {
            chunk!.Value.Data.Span.CopyTo(bytes.AsSpan(at));
            at += chunk.Value.Data.Length;
        }

        return Read(bytes, out flaw);
    }

    /// <summary>Checks a profile's header.</summary>
    /// <param name="bytes">The profile, possibly with bytes behind its end.</param>
    /// <param name="flaw">Why it is none, or null.</param>
    public static IccProfile? Read(ReadOnlyMemory<byte> bytes, out string? flaw)
    {
        flaw = null;
        ReadOnlySpan<byte> span = bytes.Span;
        if (span.Length < HeaderLength + 4 || !span.Slice(36, 4).SequenceEqual("acsp"u8))
        {
            flaw = "The colour profile has no ICC header.";
            return null;
        }

        uint size = BinaryPrimitives.ReadUInt32BigEndian(span);
        if (size < HeaderLength + 4 || size > span.Length)
        {
            flaw = "The colour profile is shorter than its header says.";
            return null;
        }

        return new IccProfile(bytes[..(int)size]);
    }

    private static string? FindDescription(ReadOnlySpan<byte> profile)
    {
        uint tags = Math.Min(BinaryPrimitives.ReadUInt32BigEndian(profile[HeaderLength..]), 200);
        for (int i = 0; i < tags && HeaderLength + 4 + ((i + 1) * 12) <= profile.Length; i++)
        {
            ReadOnlySpan<byte> entry = profile.Slice(HeaderLength + 4 + (i * 12), 12);
            if (entry.StartsWith("desc"u8))
            {
                uint offset = BinaryPrimitives.ReadUInt32BigEndian(entry[4..]);
                uint length = BinaryPrimitives.ReadUInt32BigEndian(entry[8..]);
                return offset <= profile.Length && length <= profile.Length - offset
                    ? ReadText(profile.Slice((int)offset, (int)length))
                    : null;
            }
        }

        return null;
    }

    /// <summary>textDescriptionType of version 2 or multiLocalizedUnicodeType of version 4 (ISO 15076-1 section 10.15).</summary>
    private static string? ReadText(ReadOnlySpan<byte> tag)
    {
        if (tag.Length >= 12 && tag.StartsWith("desc"u8))
        {
            uint length = BinaryPrimitives.ReadUInt32BigEndian(tag[8..]);
            return length <= tag.Length - 12 ? Ascii(tag.Slice(12, (int)length)) : null;
        }

        if (tag.Length >= 28 && tag.StartsWith("mluc"u8))
        {
            uint length = BinaryPrimitives.ReadUInt32BigEndian(tag[20..]);
            uint offset = BinaryPrimitives.ReadUInt32BigEndian(tag[24..]);
            return offset <= tag.Length && length <= tag.Length - offset
                ? Encoding.BigEndianUnicode.GetString(tag.Slice((int)offset, (int)length)).TrimEnd('\0')
                : null;
        }

        return null;
    }

    private static string Ascii(ReadOnlySpan<byte> bytes) => Encoding.ASCII.GetString(bytes.TrimEnd((byte)0)).TrimEnd(' ');
}
