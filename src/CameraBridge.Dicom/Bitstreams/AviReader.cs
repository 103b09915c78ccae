using System.Buffers.Binary;
using System.Text;

namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Reads the header lists of a RIFF AVI file (Microsoft's AVI RIFF File Reference) and sees that its lists lie within the file.</summary>
internal static class AviReader
{
    private const int MostChunks = 100_000;
    private const int Deepest = 4;

    public static void Read(ClipBytes bytes, ClipHeader header)
    {
        var reading = new Reading(bytes, header);
        for (long at = 0; at < header.Length;)
        {
            long end = reading.Chunk(at, header.Length, 0);
            if (end <= at)
            {
                break;
            }

            at = end;
        }

        header.Sounds = reading.Sounds;
        if (!reading.HasData)
        {
            header.SetFlaw(ClipFlaw.Torn, "The AVI file has no pictures' list: the recording was not closed, or the file was cut off.");
        }
    }

    private sealed class Reading(ClipBytes bytes, ClipHeader header)
    {
        private int _chunks;
        private string _streamType = "";
        private uint _scale;
        private uint _rate;
        private uint _length;
        private string _handler = "";

        public List<ClipSound> Sounds { get; } = [];

        public bool HasData { get; private set; }

        /// <summary>Reads one chunk; gives where it ends, or its own place when there is none.</summary>
        public long Chunk(long at, long end, int depth)
        {
            Span<byte> head = stackalloc byte[12];
            int count = bytes.ReadAt(at, head);
            if (count < 8 || ++_chunks > MostChunks)
            {
                return at;
            }

            string type = Encoding.Latin1.GetString(head[..4]);
            long length = BinaryPrimitives.ReadUInt32LittleEndian(head[4..]);
            long chunkEnd = at + 8 + length;
            if (chunkEnd > end)
            {
                header.SetFlaw(ClipFlaw.Torn, "The AVI file ends within a list: it was cut off.");
                chunkEnd = end;
            }

            if (type is "RIFF" or "LIST" && count == 12)
            {
                string list = Encoding.Latin1.GetString(head[8..]);
                HasData |= list == "movi";
                if (depth < Deepest && list is "AVI " or "AVIX" or "hdrl" or "strl")
                {
                    long inner = at + 12;
                    while (inner < chunkEnd && Chunk(inner, chunkEnd, depth + 1) is var next && next > inner)
                    {
                        inner = next;
                    }
                }
            }
            else if (type == "strh")
            {
                ReadStream(at + 8, chunkEnd);
            }
            else if (type == "strf")
            {
                ReadFormat(at + 8, chunkEnd);
            }

            // Chunks begin at even places.
            return chunkEnd + (length & 1);
        }

        private void ReadStream(long at, long end)
        {
            Span<byte> stream = stackalloc byte[48];
            if (end - at < 48 || bytes.ReadAt(at, stream) < 48)
            {
                return;
            }

            _streamType = Encoding.Latin1.GetString(stream[..4]);
            _handler = Encoding.Latin1.GetString(stream[4..8]);
            _scale = BinaryPrimitives.ReadUInt32LittleEndian(stream[20..]);
            _rate = BinaryPrimitives.ReadUInt32LittleEndian(stream[24..]);
            _length = BinaryPrimitives.ReadUInt32LittleEndian(stream[32..]);
        }

        private void ReadFormat(long at, long end)
        {
            Span<byte> format = stackalloc byte[40];
            format = format[..bytes.ReadAt(at, format[..(int)Math.Clamp(end - at, 0, 40)])];
            if (_streamType == "vids" && format.Length >= 20)
            {
                header.VideoTracks++;
                header.Video ??= Picture(format);
            }
            else if (_streamType == "auds" && format.Length >= 8)
            {
                int tag = BinaryPrimitives.ReadUInt16LittleEndian(format);
                SoundCodec codec = tag switch { 1 or 3 => SoundCodec.Pcm, 0x50 => SoundCodec.MpegLayer2, 0x55 => SoundCodec.Mp3, 0xFF or 0x1610 => SoundCodec.Aac, 0x2000 => SoundCodec.Ac3, _ => SoundCodec.Other };
                Sounds.Add(new ClipSound(
                    codec, FormattableString.Invariant($"format {tag:X4}H"), BinaryPrimitives.ReadInt32LittleEndian(format[4..]), BinaryPrimitives.ReadUInt16LittleEndian(format[2..])));
            }
            else
            {
                header.OtherTracks++;
            }

            _streamType = "";
        }

        private ClipVideo Picture(ReadOnlySpan<byte> format)
        {
            string name = Encoding.Latin1.GetString(format[16..20]);
            (int columns, int rows) = (BinaryPrimitives.ReadInt32LittleEndian(format[4..]), BinaryPrimitives.ReadInt32LittleEndian(format[8..]));
            bool isKnown = name.All(letter => letter is >= ' ' and <= '~');
            return new ClipVideo
            {
                Name = isKnown ? name : _handler.All(letter => letter is >= ' ' and <= '~') ? _handler : "uncompressed",
                Codec = name.ToUpperInvariant() switch
                {
                    "MJPG" => ClipCodec.MotionJpeg,
                    "H264" or "X264" or "AVC1" => ClipCodec.H264,
                    "HEVC" or "H265" or "HVC1" => ClipCodec.Hevc,
                    "MPG2" or "MPEG" => ClipCodec.Mpeg2,
                    _ => ClipCodec.Other,
                },
                Columns = Math.Clamp(columns, 0, ushort.MaxValue),
                Rows = rows == int.MinValue ? 0 : Math.Clamp(Math.Abs(rows), 0, ushort.MaxValue),
                Frames = _length,
                RateNumerator = _scale > 0 ? _rate : 0,
                RateDenominator = Math.Max(1, _scale),
            };
        }
    }
}
