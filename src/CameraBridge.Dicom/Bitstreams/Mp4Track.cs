namespace CameraBridge.Dicom.Bitstreams;

/// <summary>A track of an MP4 file: what its boxes say, and where its tables are (ISO/IEC 14496-12 section 8).</summary>
internal sealed class Mp4Track
{
    public uint Id { get; set; }

    /// <summary>'vide', 'soun' or another.</summary>
    public uint Handler { get; set; }

    public uint TimeScale { get; set; }

    public long Width { get; set; }

    public long Height { get; set; }

    public int Rotation { get; set; }

    public Mp4Box? Edits { get; set; }

    public Mp4Box? Descriptions { get; set; }

    public Mp4Box? Times { get; set; }

    public Mp4Box? Offsets { get; set; }

    public Mp4Box? Sizes { get; set; }

    public Mp4Box? Chunks { get; set; }

    public Mp4Box? ChunkOffsets { get; set; }

    /// <summary>What fragments take where they say nothing themselves (trex).</summary>
    public uint DefaultDuration { get; set; }

    public uint DefaultSize { get; set; }

    public long Samples { get; set; }

    public long SampleBytes { get; set; }

    public long FirstSampleAt { get; set; } = -1;

    /// <summary>Bytes of the length before each NAL unit: 1, 2 or 4.</summary>
    public int UnitLengthBytes { get; set; } = 4;

    public Mp4Timing Timing { get; } = new();
}

/// <summary>Sums up the times of samples: how long they are, and whether they come in even steps.</summary>
internal sealed class Mp4Timing
{
    /// <summary>Beyond this a sum is no time.</summary>
    private const ulong Longest = 1UL << 60;

    /// <summary>Common rates that an uneven clock is meant to be: pictures in so many seconds.</summary>
    private static readonly (long Numerator, long Denominator)[] CommonRates =
        [(24000, 1001), (24, 1), (25, 1), (30000, 1001), (30, 1), (50, 1), (60000, 1001), (60, 1), (15, 1), (20, 1), (10, 1), (120, 1)];

    private uint _least = uint.MaxValue;
    private uint _most;
    private (ulong Count, uint Step) _last;

    public ulong Count { get; private set; }

    public ulong Sum { get; private set; }

    public bool IsMalformed { get; private set; }

    public void Add(ulong count, uint step)
    {
        if (count == 0)
        {
            return;
        }

        Take(_last);
        _last = (count, step);
        Count += count;
        UInt128 sum = Sum + ((UInt128)count * step);
        IsMalformed |= sum > Longest || Count > Longest;
        Sum = IsMalformed ? 0 : (ulong)sum;
    }

    /// <summary>To be called once, after the last sample: it may last as it likes, since nothing follows it.</summary>
    public void Tell(ClipVideo video, uint timeScale)
    {
        if (IsMalformed || Count == 0 || timeScale == 0 || Sum == 0)
        {
            return;
        }

        (ulong count, ulong sum) = (Count, Sum);
        if (_last.Count == 1 && count > 1 && _least != uint.MaxValue && (_last.Step < _least || _last.Step > _most))
        {
            count--;
            sum -= _last.Step;
        }
        else
        {
            Take(_last);
        }

        if (sum == 0)
        {
            return;
        }

        double mean = (double)sum / count;
        // A clock of coarse ticks rounds to the tick before or after (33, 33, 34 ms), often one of milliseconds that was there before this one; a 50th of
        // the step is no picture's time either.
        double tolerance = Math.Max(mean * 0.02, mean >= 10 ? Math.Max(1, Math.Min(timeScale * 0.00101, mean * 0.1)) : 0);
        video.IsConstantRate = _most - _least <= tolerance;
        (long numerator, long denominator) = _most == _least ? (timeScale, (long)_most) : Scaled(count, sum, timeScale);
        double rate = (double)numerator / denominator;
        (long Numerator, long Denominator) nearest = CommonRates.MinBy(common => Math.Abs((rate * common.Denominator / common.Numerator) - 1));
        if (_most != _least && Math.Abs((rate * nearest.Denominator / nearest.Numerator) - 1) < 0.001)
        {
            (numerator, denominator) = nearest;
        }

        (video.RateNumerator, video.RateDenominator) = Reduced(numerator, denominator);
    }

    private static (long Numerator, long Denominator) Scaled(ulong count, ulong sum, uint timeScale)
    {
        UInt128 numerator = (UInt128)count * timeScale;
        UInt128 denominator = sum;
        while (numerator > long.MaxValue >> 8)
        {
            numerator >>= 1;
            denominator >>= 1;
        }

        return ((long)numerator, Math.Max(1, (long)denominator));
    }

    private static (long Numerator, long Denominator) Reduced(long numerator, long denominator)
    {
        (long a, long b) = (numerator, denominator);
        while (b != 0)
        {
            (a, b) = (b, a % b);
        }

        return a > 1 ? (numerator / a, denominator / a) : (numerator, denominator);
    }

    private void Take((ulong Count, uint Step) run)
    {
        if (run.Count > 0)
        {
            _least = Math.Min(_least, run.Step);
            _most = Math.Max(_most, run.Step);
        }
    }
}
