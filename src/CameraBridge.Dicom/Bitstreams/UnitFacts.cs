namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Takes one NAL unit of H.264 or HEVC, header included, for what it says of the whole clip.</summary>
internal static class UnitFacts
{
    private const int FramePacking = 45;

    /// <summary>False at the first slice: what describes the stream stands before it.</summary>
    /// <param name="unit">The unit's beginning; parameter sets whole.</param>
    /// <param name="video">Takes the facts.</param>
    /// <param name="header">Takes notes.</param>
    /// <param name="isInBand">It stands between the pictures and not in the container's index, whose sets it outdoes.</param>
    public static bool Take(ReadOnlySpan<byte> unit, ClipVideo video, ClipHeader header, bool isInBand)
    {
        if (unit.Length < 2)
        {
            return true;
        }

        bool isHevc = video.Codec == ClipCodec.Hevc;
        int type = isHevc ? (unit[0] >> 1) & 0x3F : unit[0] & 0x1F;
        if (isHevc ? type < 32 : type is >= 1 and <= 5)
        {
            return false;
        }

        (int profile, int level) = (video.Profile, video.Level);
        if (!isHevc && type == 7 && H264Parameters.Read(unit) is { } avc)
        {
            video.Apply(avc, header);
            TellDifference(profile, level, video, header, isInBand);
        }
        else if (isHevc && type == 33 && H265Parameters.Read(unit) is { } hevc)
        {
            video.Apply(hevc, header);
            TellDifference(profile, level, video, header, isInBand);
        }
        else if (isHevc ? type == 39 : type == 6)
        {
            video.IsStereo |= HasFramePacking(unit[(isHevc ? 2 : 1)..]);
        }

        return true;
    }

    private static void TellDifference(int profile, int level, ClipVideo video, ClipHeader header, bool isInBand)
    {
        if (isInBand && profile > 0 && (profile != video.Profile || level != video.Level))
        {
            header.Note(FormattableString.Invariant(
                $"The container's index says profile {profile} and level {level / 10.0:0.0}, the bit stream {video.Profile} and {video.Level / 10.0:0.0}; the bit stream counts."));
        }
    }

    /// <summary>Supplemental messages (ISO/IEC 14496-10 section 7.3.2.3): type and size in bytes of 255 and a rest.</summary>
    private static bool HasFramePacking(ReadOnlySpan<byte> messages)
    {
        while (messages.Length > 2)
        {
            if (ReadNumber(ref messages) is not { } type || ReadNumber(ref messages) is not { } size)
            {
                return false;
            }

            if (type == FramePacking)
            {
                return true;
            }

            messages = size < messages.Length ? messages[size..] : default;
        }

        return false;
    }

    private static int? ReadNumber(ref ReadOnlySpan<byte> messages)
    {
        int number = 0;
        while (!messages.IsEmpty && number < 1 << 20)
        {
            byte next = messages[0];
            messages = messages[1..];
            number += next;
            if (next != 255)
            {
                return number;
            }
        }

        return null;
    }
}
