using System.Globalization;
using System.Text.Json.Serialization;

namespace CameraBridge.Pipeline;

/// <summary>What is known of the clock by which a sitting's pictures tell their time: kept with the match, so that the objects and whoever asks later see the same.</summary>
/// <param name="Estimate">How it stood; null where nothing tells it.</param>
/// <param name="Findings">What else is the matter with it, in words with the codes of <see cref="CameraClock"/>.</param>
internal sealed record CameraClock(ClockEstimate? Estimate, IReadOnlyList<Reason> Findings)
{
    /// <summary>The clock shows what cannot be: it was reset, and its times are worth nothing unless something else tells how it stands.</summary>
    public const string Reset = "clock-reset";

    /// <summary>It is an hour off since a change to or from summer time.</summary>
    public const string DaylightSaving = "clock-dst";

    /// <summary>Times are those of files on a stick: local, in steps of two seconds.</summary>
    public const string Coarse = "clock-coarse";

    /// <summary>The camera names another zone than that of its source.</summary>
    public const string Zone = "clock-zone";

    /// <summary>How it stood.</summary>
    public const string Known = "clock";

    /// <summary>Nothing is known.</summary>
    public static CameraClock Unknown { get; } = new(null, []);

    [JsonIgnore]
    public bool IsReset => Findings.Any(finding => finding.Code == Reset);

    /// <summary>The evidence in words, the estimate first.</summary>
    [JsonIgnore]
    public IReadOnlyList<Reason> Evidence => [.. Estimate is { } known ? new[] { new Reason(Known, known.Words) } : [], .. Findings];
}

/// <summary>How a camera's clock stood when a sitting began.</summary>
internal sealed record ClockEstimate
{
    /// <summary>
    /// Times in objects are corrected up to this standard deviation, in seconds. Times are read to the minute; what is known less well than that would put one
    /// uncertain time in the place of another, under the look of a measured one (our own choice, no source).
    /// </summary>
    public const double MostForTimes = 30;

    /// <summary>Up to this standard deviation, in seconds, the corrected day counts in matching instead of the day that the camera shows.</summary>
    public const double MostForDays = 600;

    /// <summary>Exif tells times to the second, FAT to two: corrections that are smaller say nothing.</summary>
    private const double SmallestCorrection = 2;

    /// <summary>What the clock shows minus the hospital's local time, in seconds; above 0: it is fast.</summary>
    public double OffsetSeconds { get; init; }

    /// <summary>Standard deviation in seconds, above 0.</summary>
    public double DeviationSeconds { get; init; }

    /// <summary>Seconds that it gains in a day.</summary>
    public double DriftSecondsADay { get; init; }

    /// <summary>By how many pictures of a clock card it is known.</summary>
    public int Cards { get; init; }

    /// <summary>By how many sittings whose step a label or a person has told.</summary>
    public int Steps { get; init; }

    /// <summary>By how many arrivals of files.</summary>
    public int Arrivals { get; init; }

    /// <summary>The camera as it names itself in its pictures; null where it does not.</summary>
    public string? Camera { get; init; }

    [JsonIgnore]
    public TimeSpan Offset => TimeSpan.FromSeconds(Math.Round(OffsetSeconds));

    /// <summary>Whether times in objects are to be corrected by it: it is known well enough, and off by more than can be chance.</summary>
    [JsonIgnore]
    public bool CorrectsTimes => DeviationSeconds <= MostForTimes && Math.Abs(OffsetSeconds) > Math.Max(SmallestCorrection, 2 * DeviationSeconds);

    [JsonIgnore]
    public bool CorrectsDays => DeviationSeconds <= MostForDays;

    /// <summary>"clock +3 min 12 s +/- 4 s, by 2 clock cards and 5 identified sittings".</summary>
    [JsonIgnore]
    public string Words
    {
        get
        {
            string[] by =
            [
                .. Count(Cards, "clock card"),
                .. Count(Steps, "identified sitting"),
                .. Count(Arrivals, "arrival"),
            ];
            return $"clock {Signed(OffsetSeconds)} +/- {Span(DeviationSeconds)}, by {string.Join(" and ", by)}";
        }
    }

    /// <summary>"+3 min 12 s".</summary>
    public static string Signed(double seconds) => (seconds < 0 ? "-" : "+") + Span(Math.Abs(seconds));

    /// <summary>"12 s", "3 min 12 s", "2 h 5 min", "9460 d".</summary>
    public static string Span(double seconds)
    {
        long whole = (long)Math.Round(Math.Min(seconds, 1e12));
        return whole switch
        {
            < 60 => string.Create(CultureInfo.InvariantCulture, $"{whole} s"),
            < 36_000 => string.Create(CultureInfo.InvariantCulture, $"{whole / 60} min {whole % 60} s"),
            < 172_800 => string.Create(CultureInfo.InvariantCulture, $"{whole / 3600} h {whole % 3600 / 60} min"),
            _ => string.Create(CultureInfo.InvariantCulture, $"{whole / 86_400} d"),
        };
    }

    private static string[] Count(int number, string what) =>
        number == 0 ? [] : [string.Create(CultureInfo.InvariantCulture, $"{number} {what}{(number == 1 ? "" : "s")}")];
}
