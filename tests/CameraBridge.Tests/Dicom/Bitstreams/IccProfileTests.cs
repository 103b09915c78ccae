using System.Buffers.Binary;
using System.Text;
using CameraBridge.Dicom.Bitstreams;
using Xunit;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>ICC profiles: ISO 15076-1:2010 sections 7.2 (header), 7.3 (tag table), 10.15 (multiLocalizedUnicodeType), Annex B.4 (JPEG segments).</summary>
public sealed class IccProfileTests
{
    [Fact]
    public void Pieces_are_put_together_by_number()
    {
        byte[] profile = Profile("RGB ", "mntr", "sRGB IEC61966-2.1");
        IccChunk[] chunks = [new(2, 2, profile.AsMemory(100)), new(1, 2, profile.AsMemory(0, 100))];

        IccProfile? assembled = IccProfile.Assemble(chunks, out string? flaw);

        Assert.Null(flaw);
        Assert.Equal(profile, assembled?.Bytes.ToArray());
        Assert.Equal(("RGB", "mntr", "sRGB IEC61966-2.1", "SRGB"), (assembled?.DataColorSpace, assembled?.DeviceClass, assembled?.Description, assembled?.ColorSpace));
        Assert.True(assembled?.FitsRgb);
    }

    [Theory]
    [InlineData(1, 3)]
    [InlineData(2, 2)]
    [InlineData(0, 2)]
    public void A_missing_doubled_or_foreign_piece_gives_no_profile(byte second, byte count)
    {
        byte[] profile = Profile("RGB ", "mntr", "any");
        IccChunk[] chunks = [new(1, 2, profile.AsMemory(0, 100)), new(second, count, profile.AsMemory(100))];
        if (second == 2)
        {
            chunks = [chunks[0], new(1, 2, default)];
        }

        Assert.Null(IccProfile.Assemble(chunks, out string? flaw));
        Assert.NotNull(flaw);
    }

    [Theory]
    [InlineData("CMYK", "prtr", false)]
    [InlineData("GRAY", "mntr", false)]
    [InlineData("RGB ", "abst", false)]
    [InlineData("RGB ", "scnr", true)]
    [InlineData("RGB ", "spac", true)]
    public void Only_a_device_profile_of_RGB_fits_a_colour_picture(string space, string deviceClass, bool fits) =>
        Assert.Equal(fits, IccProfile.Read(Profile(space, deviceClass, "x"), out _)?.FitsRgb);

    [Theory]
    [InlineData("Adobe RGB (1998)", "ADOBERGB")]
    [InlineData("ProPhoto RGB", "ROMMRGB")]
    [InlineData("Display P3", null)]
    public void Known_spaces_have_their_defined_term(string description, string? term) =>
        Assert.Equal(term, IccProfile.Read(Profile("RGB ", "mntr", description), out _)?.ColorSpace);

    [Fact]
    public void A_profile_cut_anywhere_is_no_profile()
    {
        byte[] profile = Profile("RGB ", "mntr", "sRGB");
        for (int length = 0; length < profile.Length; length++)
        {
            Assert.Null(IccProfile.Read(profile.AsMemory(0, length), out string? flaw));
            Assert.NotNull(flaw);
        }
    }

    /// <summary>A version 4 header and one tag, the description.</summary>
    internal static byte[] Profile(string space, string deviceClass, string description)
    {
        byte[] text = Encoding.BigEndianUnicode.GetBytes(description);
        byte[] profile = new byte[128 + 4 + 12 + 28 + text.Length];
        BinaryPrimitives.WriteInt32BigEndian(profile, profile.Length);
        Encoding.ASCII.GetBytes(deviceClass + space, profile.AsSpan(12));
        "acsp"u8.CopyTo(profile.AsSpan(36));
        BinaryPrimitives.WriteInt32BigEndian(profile.AsSpan(128), 1);
        "desc"u8.CopyTo(profile.AsSpan(132));
        BinaryPrimitives.WriteInt32BigEndian(profile.AsSpan(136), 144);
        BinaryPrimitives.WriteInt32BigEndian(profile.AsSpan(140), 28 + text.Length);
        "mluc"u8.CopyTo(profile.AsSpan(144));
        BinaryPrimitives.WriteInt32BigEndian(profile.AsSpan(152), 1);
        BinaryPrimitives.WriteInt32BigEndian(profile.AsSpan(156), 12);
        "enUS"u8.CopyTo(profile.AsSpan(160));
        BinaryPrimitives.WriteInt32BigEndian(profile.AsSpan(164), text.Length);
        BinaryPrimitives.WriteInt32BigEndian(profile.AsSpan(168), 28);
        text.CopyTo(profile.AsSpan(172));
        return profile;
    }
}
