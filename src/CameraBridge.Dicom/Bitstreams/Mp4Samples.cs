namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// Walks the sample tables of a track (ISO/IEC 14496-12 sections 8.6.1.2, 8.7.3 to 8.7.5) and sees that every sample lies within the file. A file that
/// was cut off behind its index plays for a while in every player; only this tells.
/// </summary>
internal sealed class Mp4Samples(ClipBytes bytes, ClipHeader header)
{
    private static readonly uint Stz2 = Mp4Box.Code("stz2"), Co64 = Mp4Box.Code("co64");

    public void Count(Mp4Track track)
    {
        ReadTimes(track);
        if (track.Sizes is not { } sizes || track.Chunks is not { } chunks || track.ChunkOffsets is not { } offsets)
        {
            return;
        }

        uint samples = bytes.UInt32At(sizes.Start + 8) ?? 0;
        uint first = bytes.UInt32At(sizes.Start + 4) ?? 0;
        bool isCompact = sizes.Type == Stz2;
        int fieldBits = isCompact ? (int)(first & 0xFF) : 32;
        uint uniform = isCompact ? 0 : first;
        int offsetBytes = offsets.Type == Co64 ? 8 : 4;
        uint chunkCount = bytes.UInt32At(offsets.Start + 4) ?? 0;
        uint runCount = bytes.UInt32At(chunks.Start + 4) ?? 0;
        if (samples == 0)
        {
            return;
        }

        if ((uniform == 0 && (fieldBits is not (4 or 8 or 16 or 32) || sizes.Length - 12 < ((samples * (long)fieldBits) + 7) / 8))
            || offsets.Length - 8 < chunkCount * (long)offsetBytes || chunks.Length - 8 < runCount * 12L)
        {
            header.SetFlaw(ClipFlaw.Malformed, "A table of the file's index is shorter than it says.");
            return;
        }

        var size = new Mp4Table(bytes, sizes.Start + 12, sizes.End);
        var offset = new Mp4Table(bytes, offsets.Start + 8, offsets.End);
        var runs = new Runs(new Mp4Table(bytes, chunks.Start + 8, chunks.End), runCount);
        long done = 0;
        for (uint chunk = 1; chunk <= chunkCount && done < samples; chunk++)
        {
            ulong at = offsetBytes == 8 ? offset.UInt64() : offset.UInt32();
            long count = Math.Min(runs.SamplesOf(chunk), samples - done);
            ulong length = 0;
            for (long i = 0; uniform == 0 && i < count; i++)
            {
                length += isCompact ? size.Field(fieldBits, done + i) : size.UInt32();
            }

            length = uniform > 0 ? (ulong)count * uniform : length;
            if (at > (ulong)header.Length || length > (ulong)header.Length - at)
            {
                header.SetFlaw(
                    ClipFlaw.Torn,
                    FormattableString.Invariant($"The index places samples up to byte {at + length} and the file has {header.Length} bytes: it was cut off, though a player may open it."));
                break;
            }

            if (track.FirstSampleAt < 0 && count > 0)
            {
                track.FirstSampleAt = (long)at;
            }

            track.SampleBytes += (long)length;
            done += count;
        }

        track.Samples = samples;
        if (done < samples)
        {
            header.SetFlaw(ClipFlaw.Malformed, FormattableString.Invariant($"The index announces {samples} samples and places {done}."));
        }
    }

    private void ReadTimes(Mp4Track track)
    {
        if (track.Times is not { Length: >= 8 } times)
        {
            return;
        }

        uint count = bytes.UInt32At(times.Start + 4) ?? 0;
        if (times.Length - 8 < count * 8L)
        {
            header.SetFlaw(ClipFlaw.Malformed, "The table of times in the file's index is shorter than it says.");
            return;
        }

        var table = new Mp4Table(bytes, times.Start + 8, times.End);
        for (uint i = 0; i < count; i++)
        {
            uint samples = table.UInt32();
            track.Timing.Add(samples, table.UInt32());
        }
    }

    /// <summary>Samples of a chunk by runs of chunks (section 8.7.4).</summary>
    private struct Runs(Mp4Table table, uint count)
    {
        private uint _left = count;
        private uint _next;
        private uint _samples;
        private uint _nextSamples;
        private bool _hasNext;

        public long SamplesOf(uint chunk)
        {
            while (true)
            {
                if (!_hasNext && _left > 0)
                {
                    _left--;
                    _next = table.UInt32();
                    _nextSamples = table.UInt32();
                    table.UInt32();
                    _hasNext = true;
                }

                if (!_hasNext || _next > chunk)
                {
                    return _samples;
                }

                _samples = _nextSamples;
                _hasNext = false;
            }
        }
    }
}
