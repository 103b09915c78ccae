namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>
/// Densities of a lateness to look up, good to some 1e-4 of their value: many states of the clock are compared by it, and none of them is weighed
/// by it in the end.
/// </summary>
internal sealed class LatenessTable
{
    private const int PerMinute = 16;
    private const int Reach = 48 * 60;

    private readonly Lateness _lateness;
    private readonly double[] _densities;

    public LatenessTable(Lateness lateness)
    {
        _lateness = lateness;
        _densities = [.. Enumerable.Range(0, (2 * Reach * PerMinute) + 1).Select(i => lateness.Density(((double)i / PerMinute) - Reach))];
    }

    /// <summary>Probability per minute of being so many minutes late.</summary>
    public double Density(double minutes)
    {
        double at = (minutes + Reach) * PerMinute;
        int below = (int)at;
        return at >= 0 && below < _densities.Length - 1
            ? _densities[below] + ((at - below) * (_densities[below + 1] - _densities[below]))
            : _lateness.Density(minutes);
    }
}
