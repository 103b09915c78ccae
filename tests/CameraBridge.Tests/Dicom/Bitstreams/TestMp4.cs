using System.Buffers.Binary;
using System.Text;

namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>Writes MP4 files box by box (ISO/IEC 14496-12), so that each can be wrong where a test wants it.</summary>
internal static class TestMp4
{
    /// <summary>
    /// 67 64 00 29: SPS, profile_idc 100 (High), no constraints, level_idc 41. AC: ue 0 (id), ue 1 (4:2:0), ue 0, ue 0 (8 bits), no bypass, no matrix. The rest: frame_num of
    /// 4 bits, order count type 2, 1 reference, 1 x 1 macroblocks, frames only, no crop, no usability information.
    /// </summary>
    public static byte[] Sps { get; } = Bits("0110 0111  0110 0100  0000 0000  0010 1001  1 010 1 1 0 0  1 011 010 0  1 1 1 1 0 0  1");

    public static byte[] Box(string type, params byte[][] parts)
    {
        byte[] box = new byte[8 + parts.Sum(part => part.Length)];
        BinaryPrimitives.WriteUInt32BigEndian(box, (uint)box.Length);
        Encoding.Latin1.GetBytes(type).CopyTo(box, 4);
        int at = 8;
        foreach (byte[] part in parts)
        {
            part.CopyTo(box, at);
            at += part.Length;
        }

        return box;
    }

    public static byte[] LargeBox(string type, long length, params byte[][] parts) => [.. Words(1), .. Encoding.Latin1.GetBytes(type), .. Long(length), .. parts.SelectMany(part => part)];

    public static byte[] Words(params uint[] words)
    {
        byte[] bytes = new byte[words.Length * 4];
        for (int i = 0; i < words.Length; i++)
        {
            BinaryPrimitives.WriteUInt32BigEndian(bytes.AsSpan(i * 4), words[i]);
        }

        return bytes;
    }

    public static byte[] Long(long value)
    {
        byte[] bytes = new byte[8];
        BinaryPrimitives.WriteInt64BigEndian(bytes, value);
        return bytes;
    }

    public static byte[] FileType() => Box("ftyp", "isom"u8.ToArray(), Words(512), "isommp42"u8.ToArray());

    /// <summary>An index of one video track whose samples have one size and lie one after the other.</summary>
    public static byte[] Index(uint samples, uint size, ulong offset, bool isLong = true, uint sizesTold = 0, uint step = 1000, uint timeScale = 25000) =>
        Box("moov",
            Box("mvhd", Words(0, 0, 0, timeScale, samples * step, 0x10000, 0x01000000, 0, 0), Matrix(), new byte[24], Words(2)),
            Box("trak",
                Box("tkhd", Words(3, 0, 0, 1, 0, samples * step, 0, 0, 0, 0), Matrix(), Words(16 << 16, 16 << 16)),
                Box("mdia",
                    Box("mdhd", Words(0, 0, 0, timeScale, samples * step, 0)),
                    Box("hdlr", Words(0, 0), "vide"u8.ToArray(), new byte[13]),
                    Box("minf",
                        Box("stbl",
                            Box("stsd", Words(0, 1), Avc1()),
                            Box("stts", Words(0, 1, samples, step)),
                            Box("stsc", Words(0, 1, 1, samples, 1)),
                            Box("stsz", Words(0, size, sizesTold == 0 ? samples : sizesTold)),
                            isLong ? Box("co64", Words(0, 1), Long((long)offset)) : Box("stco", Words(0, 1, (uint)offset)))))));

    public static byte[] Avc1() => Box("avc1",
        [0, 0, 0, 0, 0, 0, 0, 1, .. new byte[16], 0, 16, 0, 16, .. new byte[50]],
        Box("avcC", [1, 100, 0, 41, 0xFF, 0xE1, 0, (byte)Sps.Length, .. Sps, 1, 0, 2, 0x68, 0xEE]));

    public static byte[] Matrix() => Words(0x10000, 0, 0, 0, 0x10000, 0, 0, 0, 0x40000000);

    private static byte[] Bits(string text)
    {
        string digits = text.Replace(" ", "", StringComparison.Ordinal);
        byte[] bytes = new byte[(digits.Length + 7) / 8];
        for (int i = 0; i < digits.Length; i++)
        {
            bytes[i / 8] |= (byte)((digits[i] - '0') << (7 - (i % 8)));
        }

        return bytes;
    }
}
