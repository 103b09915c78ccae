namespace CameraBridge.Dicom.Bitstreams;

/// <summary>Puts what parameter sets say where a clip's pictures are described; what the container said before and was wrong becomes a note.</summary>
internal static class ClipVideoFacts
{
    public static void Apply(this ClipVideo video, H264Parameters set, ClipHeader header)
    {
        video.Codec = ClipCodec.H264;
        TellSize(video, set.Columns, set.Rows, header);
        (video.Columns, video.Rows, video.CodedSamples) = (set.Columns, set.Rows, set.Macroblocks * 256);
        (video.Profile, video.ProfileName, video.Level) = (set.Profile, set.ProfileName, set.Level);
        (video.ChromaFormat, video.BitDepth, video.ReferencePictures) = (set.ChromaFormat, set.BitDepth, set.ReferencePictures);
        video.IsInterlaced = set.IsInterlaced;
        video.IsStereo |= set.Profile is 118 or 128;
        ApplyUsability(video, set.PixelShape, set.IsFullRange, set.ColourPrimaries, header);
        ApplyRate(video, set.RateNumerator, set.RateDenominator, header);
    }

    public static void Apply(this ClipVideo video, H265Parameters set, ClipHeader header)
    {
        video.Codec = ClipCodec.Hevc;
        TellSize(video, set.Columns, set.Rows, header);
        (video.Columns, video.Rows, video.CodedSamples) = (set.Columns, set.Rows, set.CodedSamples);
        (video.Profile, video.ProfileName, video.Level, video.IsHighTier) = (set.Profile, set.ProfileName, set.Level, set.IsHighTier);
        video.IsMainCompatible = set.IsDecodableBy(set.BitDepth == 8 ? 1 : 2);
        (video.ChromaFormat, video.BitDepth, video.IsInterlaced) = (set.ChromaFormat, set.BitDepth, set.IsInterlaced);
        ApplyUsability(video, set.PixelShape, set.IsFullRange, set.ColourPrimaries, header);
        ApplyRate(video, set.RateNumerator, set.RateDenominator, header);
    }

    /// <summary>Where a container gives each picture its time, players go by that; the rate of the parameter set is then only a hint.</summary>
    private static void ApplyRate(ClipVideo video, long numerator, long denominator, ClipHeader header)
    {
        if (numerator <= 0 || denominator <= 0)
        {
            return;
        }

        if (video.RateNumerator == 0)
        {
            (video.RateNumerator, video.RateDenominator) = (numerator, denominator);
        }
        else if (!video.IsInterlaced && video.IsConstantRate && Math.Abs(((double)numerator / denominator / video.FrameRate) - 1) > 0.01)
        {
            header.Note(FormattableString.Invariant(
                $"The times of the pictures give {video.FrameRate:0.###} a second, the parameter set says {(double)numerator / denominator:0.###}; the times count, since players go by them."));
        }
    }

    private static void TellSize(ClipVideo video, int columns, int rows, ClipHeader header)
    {
        if (video.Columns > 0 && (video.Columns != columns || video.Rows != rows))
        {
            header.Note(FormattableString.Invariant(
                $"The container says {video.Columns} by {video.Rows} pixels and the bit stream {columns} by {rows}; the bit stream counts."));
        }
    }

    private static void ApplyUsability(ClipVideo video, (int Width, int Height) shape, bool? isFullRange, int primaries, ClipHeader header)
    {
        if (shape.Width > 0 && shape.Height > 0)
        {
            if (video.PixelWidth * (long)shape.Height != video.PixelHeight * (long)shape.Width && video.PixelWidth != video.PixelHeight)
            {
                header.Note(FormattableString.Invariant(
                    $"The container says pixels of {video.PixelWidth}:{video.PixelHeight} and the bit stream {shape.Width}:{shape.Height}; the bit stream counts."));
            }

            (video.PixelWidth, video.PixelHeight) = shape;
        }

        video.IsFullRange = isFullRange ?? video.IsFullRange;
        video.ColourPrimaries = primaries != 2 ? primaries : video.ColourPrimaries;
    }
}
