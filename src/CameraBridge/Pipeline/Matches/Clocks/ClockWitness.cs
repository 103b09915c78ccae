using CameraBridge.Pipeline.Matches.Joint;

namespace CameraBridge.Pipeline.Matches.Clocks;

/// <summary>By what a camera's clock is told.</summary>
internal enum WitnessKind
{
    /// <summary>A picture of a clock card: what the camera showed when the time was what the card says.</summary>
    Card,

    /// <summary>A sitting whose step a label or a person has told: it began as late as sittings of the site begin.</summary>
    Step,

    /// <summary>A file that lay on a share, mostly soon after it was taken and never before.</summary>
    Arrival,

    /// <summary>A file that came with a stick, at any time after it was taken and never before.</summary>
    Stick,
}

/// <summary>One thing that tells how a camera's clock stood. Times are local times of the source's zone, without zone, as cameras and worklists have them.</summary>
/// <param name="Kind">What it is.</param>
/// <param name="Shown">What the camera's clock showed.</param>
/// <param name="True">What the time was (card), was planned to be (step), or had become by then (arrival, stick).</param>
internal sealed record ClockWitness(WitnessKind Kind, DateTime Shown, DateTime True)
{
    private const double Day = 86_400;

    /// <summary>How exactly a card is read in seconds: it is shown for a second and the camera's time is told in whole seconds.</summary>
    private const double CardScale = 1.5;

    /// <summary>The files' own times come in steps of two seconds.</summary>
    private const double CoarseCardScale = 2.5;

    /// <summary>Degrees of freedom of the error of a card: a card that was photographed a while after it was shown is an outlier.</summary>
    private const double CardFreedom = 3;

    /// <summary>Share of files that come at once, and how soon those are there on average, in seconds (common practice, no source).</summary>
    private const double Prompt = 0.3, PromptDelay = 120;

    /// <summary>This machine's clock and a file server's may differ by so much, in seconds.</summary>
    private const double ArrivalTolerance = 120;

    /// <summary>How unlikely it is that a file was there before it was taken: this machine's clock may be the wrong one.</summary>
    private const double BeforeArrival = 1e-4;

    /// <summary>Share of identified sittings whose start says nothing of their step's time.</summary>
    private const double Stray = 0.03;

    /// <summary>The shown time is that of the file, in steps of two seconds.</summary>
    public bool IsCoarse { get; init; }

    /// <summary>Where it stands among the others: its true time, or for a stick, which may come days later, what the camera showed.</summary>
    public DateTime At => Kind == WitnessKind.Stick && Shown < True ? Shown : True;

    /// <summary>Shown minus true, in seconds.</summary>
    public double Difference => (Shown - True).TotalSeconds;

    /// <summary>An offset of the clock, in seconds, at which this is likeliest.</summary>
    /// <param name="lateness">How late the site's sittings begin.</param>
    public double Likeliest(Lateness lateness) => Difference - (Kind == WitnessKind.Step ? 60 * lateness.Mode : 0);

    /// <summary>Logarithm of the likelihood of this if the clock is so many seconds fast, up to a constant of the kind.</summary>
    /// <param name="offset">Seconds.</param>
    /// <param name="lateness">How late the site's sittings begin.</param>
    public double LogLikelihood(double offset, Lateness lateness)
    {
        double after = Difference - offset;
        switch (Kind)
        {
            case WitnessKind.Card:
                double scale = IsCoarse ? CoarseCardScale : CardScale;
                double z = after / scale;
                return -Math.Log(scale) - ((CardFreedom + 1) / 2 * Math.Log(1 + (z * z / CardFreedom)));
            case WitnessKind.Step:
                return Math.Log(((1 - Stray) * lateness.Density(after / 60) / 60) + (Stray / Day));
            case WitnessKind.Arrival when after <= 0:
                return Math.Log((Prompt / PromptDelay * Math.Exp(after / PromptDelay)) + ((1 - Prompt) / Day));
            case WitnessKind.Arrival:
                // Up to the tolerance as likely as at once, falling off: the two clocks tell different times.
                double over = after / ArrivalTolerance;
                return Math.Max(Math.Log((Prompt / PromptDelay) + ((1 - Prompt) / Day)) - (4 * over * over), Math.Log(BeforeArrival / Day));
            default:
                return after <= ArrivalTolerance ? 0 : Math.Log(BeforeArrival);
        }
    }
}
