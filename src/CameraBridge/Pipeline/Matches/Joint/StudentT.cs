namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>What the framework does not have of Student's t distribution.</summary>
internal static class StudentT
{
    /// <summary>Lanczos approximation, g = 7, 9 terms (C. Lanczos 1964; coefficients by P. Godfrey 2001), good to 1e-13.</summary>
    private static readonly double[] Lanczos =
    [
        0.99999999999980993, 676.5203681218851, -1259.1392167224028, 771.32342877765313, -176.61502916214059, 12.507343278686905,
        -0.13857109526572012, 9.9843695780195716e-6, 1.5056327351493116e-7,
    ];

    /// <summary>Natural logarithm of the gamma function, for x of at least 0.5.</summary>
    public static double LogGamma(double x)
    {
        double sum = Lanczos[0];
        for (int i = 1; i < Lanczos.Length; i++)
        {
            sum += Lanczos[i] / (x - 1 + i);
        }

        double t = x + 6.5;
        return (0.5 * Math.Log(2 * Math.PI)) + ((x - 0.5) * Math.Log(t)) - t + Math.Log(sum);
    }

    /// <summary>The distribution function: the probability of at most <paramref name="t"/>.</summary>
    /// <param name="t">Any number.</param>
    /// <param name="freedom">Degrees of freedom, at least 1.</param>
    public static double Until(double t, double freedom)
    {
        double tail = 0.5 * IncompleteBeta(freedom / 2, 0.5, freedom / (freedom + (t * t)));
        return t < 0 ? tail : 1 - tail;
    }

    /// <summary>The regularized incomplete beta function, by its continued fraction (NIST DLMF 8.17.22) evaluated from the front.</summary>
    private static double IncompleteBeta(double a, double b, double x)
    {
        if (x <= 0 || x >= 1)
        {
            return x <= 0 ? 0 : 1;
        }

        // It converges fast below this point only; above, the symmetry of DLMF 8.17.4 leads back.
        if (x > (a + 1) / (a + b + 2))
        {
            return 1 - IncompleteBeta(b, a, 1 - x);
        }

        double front = Math.Exp(LogGamma(a + b) - LogGamma(a) - LogGamma(b) + (a * Math.Log(x)) + (b * Math.Log(1 - x))) / a;
        double c = 1;
        double d = 1 / (1 - ((a + b) * x / (a + 1)));
        double fraction = d;
        for (int m = 1; m < 300; m++)
        {
            double even = m * (b - m) * x / ((a + (2 * m) - 1) * (a + (2 * m)));
            d = 1 / (1 + (even * d));
            c = 1 + (even / c);
            fraction *= c * d;
            double odd = -(a + m) * (a + b + m) * x / ((a + (2 * m)) * (a + (2 * m) + 1));
            d = 1 / (1 + (odd * d));
            c = 1 + (odd / c);
            fraction *= c * d;
            if (Math.Abs((c * d) - 1) < 1e-15)
            {
                break;
            }
        }

        return front * fraction;
    }
}
