using System.Globalization;

namespace CameraBridge.Dicom.Data;

/// <content>Private blocks (PS3.5 section 7.8.1, edition 2025e): (gggg,00bb) names the creator of elements (gggg,bb00) to (gggg,bbFF).</content>
public sealed partial class DataSet
{
    /// <summary>The block that the creator has reserved in this group, 10H to FFH; null when it has none.</summary>
    /// <exception cref="ArgumentException">The group is not private.</exception>
    public byte? FindPrivateBlock(ushort group, string creator)
    {
        DemandPrivate(group);
        ArgumentException.ThrowIfNullOrEmpty(creator);
        for (int block = 0x10; block <= 0xFF; block++)
        {
            if (GetString(new Tag(group, (ushort)block)) == creator)
            {
                return (byte)block;
            }
        }

        return null;
    }

    /// <summary>The block of the creator, reserved now if it has none: the first that neither a creator nor an element takes.</summary>
    /// <exception cref="ArgumentException">The group is not private.</exception>
    /// <exception cref="ValueException">The creator is no LO, or all 240 blocks of the group are taken.</exception>
    public byte ReservePrivateBlock(ushort group, string creator)
    {
        if (FindPrivateBlock(group, creator) is { } found)
        {
            return found;
        }

        var taken = elements.Where(element => element.Tag.Group == group)
            .Select(element => element.Tag.IsPrivateCreator ? element.Tag.Number : element.Tag.Number >> 8)
            .ToHashSet();
        for (int block = 0x10; block <= 0xFF; block++)
        {
            if (!taken.Contains(block))
            {
                Set(new Tag(group, (ushort)block), Vr.LO, creator);
                return (byte)block;
            }
        }

        throw Breach(
            new Tag(group, 0x0010),
            string.Create(CultureInfo.InvariantCulture, $"all 240 private blocks of group {group:X4} are taken (PS3.5 7.8.1)"));
    }

    /// <summary>The tag of a creator's element; null when the creator has no block here.</summary>
    /// <param name="group">An odd group.</param>
    /// <param name="creator">The name in (gggg,00bb).</param>
    /// <param name="element">The last two hexadecimal digits.</param>
    public Tag? FindPrivateTag(ushort group, string creator, byte element) =>
        FindPrivateBlock(group, creator) is { } block ? new Tag(group, (ushort)((block << 8) | element)) : null;

    /// <summary>The creator of a private element; null for others, and when no creator has reserved its block.</summary>
    public string? PrivateCreatorOf(Tag tag) =>
        tag.IsPrivate && tag.Number >= 0x1000 ? GetString(new Tag(tag.Group, (ushort)(tag.Number >> 8))) : null;

    private static void DemandPrivate(ushort group)
    {
        // Groups 0001 to 0007 and FFFF are odd and may not be used (PS3.5 section 7.8).
        if ((group & 1) == 0 || group is <= 0x0007 or 0xFFFF)
        {
            throw new ArgumentException("Private elements stand in odd groups from 0009 to FFFD (PS3.5 7.8).", nameof(group));
        }
    }
}
