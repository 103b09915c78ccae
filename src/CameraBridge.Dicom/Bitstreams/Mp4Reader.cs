namespace CameraBridge.Dicom.Bitstreams;

/// <summary>
/// Reads the boxes of an MP4 or QuickTime file (ISO/IEC 14496-12): the index wherever it stands, every sample table against the file's length, movie
/// fragments, and the bit stream's own parameter sets.
/// </summary>
internal sealed class Mp4Reader(ClipBytes bytes, ClipHeader header)
{
    private const int MostBoxes = 1_000_000;
    private const int MostTracks = 64;

    /// <summary>stbl lies in minf, in mdia, in trak.</summary>
    private const int Deepest = 4;

    private static readonly uint
        Moov = Mp4Box.Code("moov"), Moof = Mp4Box.Code("moof"), Mdat = Mp4Box.Code("mdat"), Ftyp = Mp4Box.Code("ftyp"), Trak = Mp4Box.Code("trak"),
        Mvhd = Mp4Box.Code("mvhd"), Mvex = Mp4Box.Code("mvex"), Trex = Mp4Box.Code("trex"), Cmov = Mp4Box.Code("cmov"), Tkhd = Mp4Box.Code("tkhd"),
        Edts = Mp4Box.Code("edts"), Elst = Mp4Box.Code("elst"), Mdia = Mp4Box.Code("mdia"), Mdhd = Mp4Box.Code("mdhd"), Hdlr = Mp4Box.Code("hdlr"),
        Minf = Mp4Box.Code("minf"), Stbl = Mp4Box.Code("stbl"), Stsd = Mp4Box.Code("stsd"), Stts = Mp4Box.Code("stts"), Ctts = Mp4Box.Code("ctts"),
        Stsz = Mp4Box.Code("stsz"), Stz2 = Mp4Box.Code("stz2"), Stsc = Mp4Box.Code("stsc"), Stco = Mp4Box.Code("stco"), Co64 = Mp4Box.Code("co64"),
        Video = Mp4Box.Code("vide"), Sound = Mp4Box.Code("soun");

    /// <summary>1 January 1904, from which times of the format count.</summary>
    private static readonly DateTime Epoch = new(1904, 1, 1, 0, 0, 0, DateTimeKind.Utc);

    private readonly List<Mp4Track> _tracks = [];
    private uint _movieTimeScale;
    private bool _isMovieTurned;

    public void Read()
    {
        bool hasIndex = false;
        bool hasData = false;
        int boxes = 0;
        long at = 0;
        while (at < header.Length)
        {
            if (Mp4Box.Read(bytes, at, header.Length) is not { } box || ++boxes > MostBoxes)
            {
                // A few bytes behind the last box are padding; players do not mind them.
                if (hasIndex && header.Length - at < 8)
                {
                    break;
                }

                header.SetFlaw(ClipFlaw.Malformed, FormattableString.Invariant($"At byte {at} of the file there is no box."));
                break;
            }

            if (box.IsCut)
            {
                header.SetFlaw(
                    ClipFlaw.Torn,
                    FormattableString.Invariant($"The file ends within the box '{Mp4Box.Letters(box.Type)}' that begins at byte {box.At}: it was cut off, or not written to its end."));
            }

            if (box.Type == Moov && !hasIndex)
            {
                hasIndex = true;
                header.IsIndexBehind = hasData;
                ReadMovie(box);
            }
            else if (box.Type == Moof)
            {
                header.IsFragmented = true;
                new Mp4Fragments(bytes, header, _tracks).Read(box);
            }
            else if (box.Type == Mdat)
            {
                hasData = true;
            }

            at = box.End;
        }

        if (!hasIndex)
        {
            header.SetFlaw(ClipFlaw.Torn, "The file has no index (no box 'moov'): the recording was not closed, or the file was cut off.");
            return;
        }

        Describe();
    }

    /// <summary>The boxes within another, one after the other.</summary>
    private void Walk(long start, long end, Action<Mp4Box> take)
    {
        int boxes = 0;
        for (long at = start; end - at >= 8;)
        {
            // A zero word may end a QuickTime container.
            if (bytes.UInt32At(at) == 0 || ++boxes > MostBoxes || Mp4Box.Read(bytes, at, end) is not { } box)
            {
                break;
            }

            take(box);
            at = box.End;
        }
    }

    private void ReadMovie(Mp4Box movie) => Walk(movie.Start, movie.End, box =>
    {
        if (box.Type == Mvhd)
        {
            bool isLong = IsVersion1(box);
            ReadRecordedAt(isLong ? bytes.UInt64At(box.Start + 4) : bytes.UInt32At(box.Start + 4));
            _movieTimeScale = bytes.UInt32At(box.Start + (isLong ? 20 : 12)) ?? 0;
            _isMovieTurned = ReadRotation(box.Start + (isLong ? 48 : 36)) != 0;
        }
        else if (box.Type == Trak && _tracks.Count < MostTracks)
        {
            var track = new Mp4Track();
            _tracks.Add(track);
            Walk(box.Start, box.End, child => ReadTrackBox(track, child, 0));
        }
        else if (box.Type == Mvex)
        {
            header.IsFragmented = true;
            Walk(box.Start, box.End, ReadDefaults);
        }
        else if (box.Type == Cmov)
        {
            header.SetFlaw(ClipFlaw.NotRead, "The file's index is compressed (QuickTime), which this program does not read.");
        }
    });

    private void ReadDefaults(Mp4Box box)
    {
        if (box.Type == Trex && bytes.UInt32At(box.Start + 4) is { } id && _tracks.Find(track => track.Id == id) is { } known)
        {
            known.DefaultDuration = bytes.UInt32At(box.Start + 12) ?? 0;
            known.DefaultSize = bytes.UInt32At(box.Start + 16) ?? 0;
        }
    }

    private void ReadTrackBox(Mp4Track track, Mp4Box box, int depth)
    {
        if (box.Type == Tkhd)
        {
            bool isLong = IsVersion1(box);
            track.Id = bytes.UInt32At(box.Start + (isLong ? 20 : 12)) ?? 0;
            long matrix = box.Start + (isLong ? 52 : 40);
            track.Rotation = ReadRotation(matrix);
            track.Width = (bytes.UInt32At(matrix + 36) ?? 0) >> 16;
            track.Height = (bytes.UInt32At(matrix + 40) ?? 0) >> 16;
        }
        else if (depth < Deepest && (box.Type == Edts || box.Type == Mdia || box.Type == Minf || box.Type == Stbl))
        {
            Walk(box.Start, box.End, child => ReadTrackBox(track, child, depth + 1));
        }
        else if (box.Type == Mdhd)
        {
            track.TimeScale = bytes.UInt32At(box.Start + (IsVersion1(box) ? 20 : 12)) ?? 0;
        }
        else if (box.Type == Hdlr && track.Handler == 0)
        {
            track.Handler = bytes.UInt32At(box.Start + 8) ?? 0;
        }
        else if (box.Type == Elst)
        {
            track.Edits = box;
        }
        else if (box.Type == Stsd)
        {
            track.Descriptions = box;
        }
        else if (box.Type == Stts)
        {
            track.Times = box;
        }
        else if (box.Type == Ctts)
        {
            track.Offsets = box;
        }
        else if (box.Type == Stsz || box.Type == Stz2)
        {
            track.Sizes = box;
        }
        else if (box.Type == Stsc)
        {
            track.Chunks = box;
        }
        else if (box.Type == Stco || box.Type == Co64)
        {
            track.ChunkOffsets = box;
        }
    }

    private bool IsVersion1(Mp4Box box) => bytes.UInt32At(box.Start) >> 24 == 1;

    private void ReadRecordedAt(ulong? seconds)
    {
        const ulong EndOf2200 = 297UL * 366 * 86400;
        if (seconds is > 0 and < EndOf2200)
        {
            header.RecordedAt = Epoch.AddSeconds((double)seconds.Value);
        }
    }

    /// <summary>The matrix of section 8.3.2: a, b, u, c, d, v, x, y, w in 16.16 (u, v, w in 2.30).</summary>
    private int ReadRotation(long at)
    {
        const int One = 0x10000;
        int Number(int index) => (int)(bytes.UInt32At(at + (index * 4)) ?? 0);
        return (Number(0), Number(1), Number(3), Number(4)) switch
        {
            (One, 0, 0, One) or (0, 0, 0, 0) => 0,
            (0, One, -One, 0) => 90,
            (-One, 0, 0, -One) => 180,
            (0, -One, One, 0) => 270,
            _ => -1,
        };
    }

    private void Describe()
    {
        var samples = new Mp4Samples(bytes, header);
        var descriptions = new Mp4Descriptions(bytes, header);
        var sounds = new List<ClipSound>();
        foreach (Mp4Track track in _tracks)
        {
            samples.Count(track);
            if (track.Handler == Video)
            {
                header.VideoTracks++;
                if (header.Video is null)
                {
                    DescribeVideo(track, descriptions);
                }
            }
            else if (track.Handler == Sound)
            {
                sounds.Add(descriptions.ReadSound(track));
            }
            else
            {
                header.OtherTracks++;
            }
        }

        header.Sounds = sounds;
    }

    private void DescribeVideo(Mp4Track track, Mp4Descriptions descriptions)
    {
        var video = new ClipVideo { Frames = track.Samples, Bytes = track.SampleBytes };
        header.Video = video;
        track.Timing.Tell(video, track.TimeScale);
        if (track.Timing.IsMalformed)
        {
            header.SetFlaw(ClipFlaw.Malformed, "The times of the pictures are beyond all sense.");
        }

        descriptions.ReadVideo(track, video);
        if (track.Timing.Count > 0 && (long)track.Timing.Count != track.Samples)
        {
            header.SetFlaw(
                ClipFlaw.Malformed,
                FormattableString.Invariant($"The index has the times of {track.Timing.Count} pictures and the sizes of {track.Samples}."));
        }

        header.Rotation = _isMovieTurned ? -1 : track.Rotation;
        header.IsEdited = track.Edits is { } edits && IsEdited(track, video, edits);
    }

    /// <summary>
    /// An edit list (section 8.6.6) that begins with the first picture and ends with the last one only makes up for the delay of reordering; what
    /// else it does, changes what is shown.
    /// </summary>
    private bool IsEdited(Mp4Track track, ClipVideo video, Mp4Box edits)
    {
        bool isLong = IsVersion1(edits);
        int entry = isLong ? 20 : 12;
        uint count = bytes.UInt32At(edits.Start + 4) ?? 0;
        if (count > 2 || edits.Length < 8 + (count * entry))
        {
            return count > 0;
        }

        int shown = 0;
        bool isEdited = false;
        double step = video.FrameRate > 0 ? track.TimeScale / video.FrameRate : 0;
        // Version 0 of ctts is unsigned, version 1 signed; writers mix them, and an offset is never beyond 2^31.
        int lead = track.Offsets is { Length: >= 16 } offsets ? (int)(bytes.UInt32At(offsets.Start + 12) ?? 0) : 0;
        for (uint i = 0; i < count; i++)
        {
            long at = edits.Start + 8 + (i * entry);
            double length = isLong ? bytes.UInt64At(at) ?? 0 : bytes.UInt32At(at) ?? 0;
            long from = isLong ? (long)(bytes.UInt64At(at + 8) ?? 0) : (int)(bytes.UInt32At(at + 4) ?? 0);
            if (from < 0)
            {
                continue;
            }

            shown++;
            double lost = Math.Max(0, from - lead);
            isEdited |= bytes.UInt32At(at + entry - 4) != 0x10000 || lost > 0.75 * step;
            double lengthInTrack = _movieTimeScale > 0 ? length * track.TimeScale / _movieTimeScale : 0;
            isEdited |= lengthInTrack > 0 && track.Timing.Sum > 0 && lengthInTrack < track.Timing.Sum - lost - (1.5 * step);
        }

        return isEdited || shown > 1;
    }
}
