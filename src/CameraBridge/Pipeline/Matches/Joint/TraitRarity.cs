namespace CameraBridge.Pipeline.Matches.Joint;

/// <summary>
/// How much the traits of a sitting speak for a step. A sitting takes its step's trait, or by the share of error any trait that the source's sittings
/// have; so agreement counts by how rare the trait is at this source, and a camera that does nothing but ears learns nothing from "ear".
/// </summary>
internal sealed class TraitRarity
{
    private readonly IReadOnlyList<JointSitting> _sittings;
    private readonly Dictionary<string, int>[] _counts;
    private readonly double _meanPictures;

    public TraitRarity(IReadOnlyList<JointSitting> sittings)
    {
        _sittings = sittings;
        _counts = [.. Traits.Select(Count)];
        int[] pictures = [.. sittings.Select(sitting => sitting.Pictures).Where(pictures => pictures > 0)];
        _meanPictures = pictures.Length == 0 ? 1 : pictures.Average();
    }

    private static readonly Func<JointTraits, string?>[] Traits = [traits => traits.Optic, traits => traits.Modality, traits => traits.BodyPart, traits => traits.Side];

    /// <summary>Likelihood of the sitting's traits if it belongs to the step, over that if it belongs to none; above 0.</summary>
    public double Ratio(JointSitting sitting, JointStep step, JointParameters parameters)
    {
        bool hasOptic = sitting.Traits.Optic is not null && step.Traits.Optic is not null;
        double ratio = 1;
        for (int trait = 0; trait < Traits.Length; trait++)
        {
            // An optic makes one modality: who has compared the optic learns nothing more from it.
            if (trait != 1 || !hasOptic)
            {
                ratio *= Ratio(trait, Traits[trait](sitting.Traits), Traits[trait](step.Traits), trait < 2 ? parameters.OpticError : parameters.TraitError);
            }
        }

        return sitting.Pictures > 0 && step.ExpectedPictures is { } expected
            ? ratio * (parameters.CountError + ((1 - parameters.CountError) * CountRatio(sitting.Pictures, expected, parameters.CountSize)))
            : ratio;
    }

    private double Ratio(int trait, string? seen, string? planned, double error)
    {
        // Both sides contain one side: whoever orders both and photographs one, or the other way round, has made no mistake.
        if (seen is null || planned is null || (trait == 3 && seen != planned && (seen == "B" || planned == "B")))
        {
            return 1;
        }

        double share = (_counts[trait].GetValueOrDefault(seen) + 1.0) / (_counts[trait].Values.Sum() + 2.0);
        return error + (seen == planned ? (1 - error) / share : 0);
    }

    private double CountRatio(int pictures, double expected, double size) =>
        Math.Exp(LogNegativeBinomial(pictures, expected, size) - LogNegativeBinomial(pictures, _meanPictures, 1.5));

    private static double LogNegativeBinomial(int count, double mean, double size) =>
        StudentT.LogGamma(count + size) - StudentT.LogGamma(size) - StudentT.LogGamma(count + 1)
        + (size * Math.Log(size / (size + mean))) + (count * Math.Log(mean / (size + mean)));

    private Dictionary<string, int> Count(Func<JointTraits, string?> trait) =>
        _sittings.Select(sitting => trait(sitting.Traits)).OfType<string>().GroupBy(value => value, StringComparer.Ordinal)
            .ToDictionary(group => group.Key, group => group.Count(), StringComparer.Ordinal);
}
