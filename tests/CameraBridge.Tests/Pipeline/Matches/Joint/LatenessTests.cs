using CameraBridge.Pipeline.Matches.Joint;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches.Joint;

/// <summary>How late sittings begin: a distribution, and a site's own.</summary>
public sealed class LatenessTests
{
    [Theory]
    [InlineData(5, 5, 12, 4)]
    [InlineData(-3, 2, 30, 1.5)]
    [InlineData(0, 8, 8, 20)]
    public void The_density_is_that_of_the_distribution_function(double mode, double early, double late, double freedom)
    {
        Lateness lateness = new(mode, early, late, freedom);

        // Simpson's rule from far below; what lies below that is the distribution function's own word.
        const int Steps = 40_000;
        const double From = -400;
        const double Width = 0.02;
        double area = lateness.Until(From);
        for (int i = 0; i < Steps; i++)
        {
            double at = From + (i * Width);
            double next = at + Width;
            area += Width / 6 * (lateness.Density(at) + (4 * lateness.Density(at + (Width / 2))) + lateness.Density(next));
            if (i % 1000 == 999)
            {
                Assert.Equal(lateness.Until(next), area, 1e-5);
            }
        }

        Assert.Equal(1, lateness.Until(1e9), 1e-9);
    }

    [Fact]
    public void The_distribution_functions_that_have_a_closed_form_are_met()
    {
        // Of one degree of freedom (Cauchy): 1/2 + arctan(t)/pi; of two: 1/2 + t / (2 sqrt(2 + t^2)). Johnson, Kotz and Balakrishnan, Continuous Univariate
        // Distributions 2, chapters 16 and 28.
        foreach (double t in (double[])[-1000, -30, -2, -0.3, 0, 0.01, 1, 7, 400])
        {
            Assert.Equal(0.5 + (Math.Atan(t) / Math.PI), StudentT.Until(t, 1), 1e-12);
            Assert.Equal(0.5 + (t / (2 * Math.Sqrt(2 + (t * t)))), StudentT.Until(t, 2), 1e-12);
        }
    }

    [Fact]
    public void The_gamma_function_is_that_of_factorials_and_of_one_half()
    {
        Assert.Equal(Math.Log(Math.Sqrt(Math.PI)), StudentT.LogGamma(0.5), 1e-12);
        Assert.Equal(Math.Log(24), StudentT.LogGamma(5), 1e-12);
        Assert.Equal(Math.Log(3628800), StudentT.LogGamma(11), 1e-12);
    }

    [Fact]
    public void The_density_to_look_up_is_near_the_one_that_is_computed()
    {
        Lateness lateness = new(4, 3, 9, 2);
        LatenessTable table = new(lateness);

        foreach (double minutes in (double[])[-5000, -2879.99, -60, 3.9, 4, 4.03, 17.77, 600, 2879.99, 9000])
        {
            Assert.Equal(1, table.Density(minutes) / lateness.Density(minutes), 2e-3);
        }
    }

    [Fact]
    public void Without_history_a_site_is_a_clinic_of_which_nothing_is_known()
    {
        Assert.Equal(LatenessFit.Prior.Mode, LatenessFit.Of([]).Mode, 1e-9);
        Assert.Equal(LatenessFit.Prior.LateScale, LatenessFit.Of([]).LateScale, 1e-9);
    }

    [Fact]
    public void A_long_history_shows_the_habits_of_the_site()
    {
        Lateness truth = new(12, 4, 25, 3);

        Lateness found = LatenessFit.Of(Draw(truth, 4000));

        Assert.Equal(truth.Mode, found.Mode, 1.5);
        Assert.Equal(1, found.EarlyScale / truth.EarlyScale, 0.25);
        Assert.Equal(1, found.LateScale / truth.LateScale, 0.1);
        Assert.Equal(1, found.Freedom / truth.Freedom, 0.25);
    }

    [Fact]
    public void A_few_sittings_move_the_prior_only_a_little()
    {
        Lateness found = LatenessFit.Of([40, 42]);

        Assert.InRange(found.Mode, 5, 15);
        Assert.InRange(found.LateScale, 12, 25);
    }

    [Fact]
    public void Records_that_are_hours_off_draw_nothing_after_them()
    {
        double[] history = Draw(new Lateness(5, 4, 10, 4), 300);

        Lateness clean = LatenessFit.Of(history);
        Lateness soiled = LatenessFit.Of([.. history, 700, -650, 1400, 1440, -1440]);

        Assert.Equal(clean.Mode, soiled.Mode, 0.7);
        Assert.Equal(1, soiled.LateScale / clean.LateScale, 0.25);
        Assert.Equal(1, soiled.EarlyScale / clean.EarlyScale, 0.25);
    }

    /// <summary>Quantiles in equal steps, by bisection: a sample without chance.</summary>
    private static double[] Draw(Lateness lateness, int count) =>
    [
        .. Enumerable.Range(0, count).Select(i =>
        {
            (double low, double high) = (-1e5, 1e5);
            for (int round = 0; round < 60; round++)
            {
                double middle = (low + high) / 2;
                (low, high) = lateness.Until(middle) < (i + 0.5) / count ? (middle, high) : (low, middle);
            }

            return low;
        }),
    ];
}
