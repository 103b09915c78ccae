using CameraBridge.Dicom.Iods;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Conformance;

/// <summary>
/// What is in the objects of a storage class, found by making them: of every optic that leads to the class, with all that can be known and with the least,
/// by the mapping that the flow uses. Nothing in it is written down by hand.
/// </summary>
internal sealed class ClassSurvey
{
    private readonly PresenceCounts counts = new();
    private readonly SortedDictionary<string, SortedSet<string>> origins = new(StringComparer.Ordinal);

    private ClassSurvey(OpticClass ofClass) => Class = ofClass;

    public OpticClass Class { get; }

    public Iod Iod => IodTables.Find(Class.SOPClassUID)!;

    /// <summary>Names of the optics whose pictures become objects of this class.</summary>
    public List<string> Optics { get; } = [];

    /// <summary>Paths of all attributes that are in any object.</summary>
    public IEnumerable<string> Paths => counts.Paths;

    private static readonly Lazy<IReadOnlyList<ClassSurvey>> OfOwnOptics = new(() => MakeAnew(OpticsTable.Own));

    /// <summary>One survey for each class that the optics lead to, in the order of <see cref="OpticClass.All"/>.</summary>
    public static IReadOnlyList<ClassSurvey> Make(OpticsTable optics) => optics == OpticsTable.Own ? OfOwnOptics.Value : MakeAnew(optics);

    private static IReadOnlyList<ClassSurvey> MakeAnew(OpticsTable optics) =>
        [.. OpticClass.All.Select(one => new ClassSurvey(one).Take(optics)).Where(survey => survey.Optics.Count > 0)];

    public Presence PresenceOf(string path) => counts.Of(path);

    /// <summary>What an attribute comes from: the facts that change it. None means that it is the same in all objects of the class.</summary>
    public IReadOnlyCollection<string> OriginsOf(string path) => origins.TryGetValue(path, out SortedSet<string>? found) ? found : [];

    private ClassSurvey Take(OpticsTable optics)
    {
        var known = new List<IReadOnlyDictionary<string, string>>();
        foreach (Optic optic in optics.All.Where(optic => optic.Of(Class.Kind) == Class))
        {
            SampleObject full = SampleObject.Full(optic, Class.Kind);
            if (full.Attributes() is not { } attributes)
            {
                throw new InvalidOperationException($"With all facts known there is no object of the optic {optic.Name}: {full.WhyNot()}");
            }

            Optics.Add(optic.Name);
            known.Add(SampleObject.Least(optic, Class.Kind).Attributes() ?? attributes);
            foreach (SampleObject made in full.Variants(optic))
            {
                Count(made);
            }

            foreach ((string origin, SampleObject changed) in full.Changes())
            {
                Compare(attributes, changed.Attributes(), origin);
            }
        }

        // Where optics alone make the difference, the optics table does.
        foreach (IReadOnlyDictionary<string, string> other in known.Skip(1))
        {
            Compare(known[0], other, Origin.Optic);
        }

        return this;
    }

    private void Count(SampleObject made)
    {
        if (made.Attributes() is { } attributes)
        {
            counts.Add(attributes);
        }
    }

    private void Compare(IReadOnlyDictionary<string, string> before, IReadOnlyDictionary<string, string>? after, string origin)
    {
        if (after is null)
        {
            return;
        }

        foreach (string path in before.Keys.Union(after.Keys))
        {
            if (before.GetValueOrDefault(path) != after.GetValueOrDefault(path))
            {
                if (!origins.TryGetValue(path, out SortedSet<string>? known))
                {
                    origins.Add(path, known = new SortedSet<string>(StringComparer.Ordinal));
                }

                known.Add(origin);
            }
        }
    }
}
