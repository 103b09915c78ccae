using CameraBridge.Configuration;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;

namespace CameraBridge.Pipeline.Objects.Optics;

/// <summary>What must hold between the settings of an optic that are each well written.</summary>
internal static class OpticRules
{
    public static void Check(Optic optic, string path, SettingLog log)
    {
        Report(Values(optic, optic.Always.Values, path), path, log);
        foreach (string name in optic.With.Where(name => optic.FindOption(name) is null))
        {
            string known = optic.Options.Count == 0 ? "It has none." : $"Options are {string.Join(", ", optic.Options.Select(option => option.Name))}.";
            log.ReportAt($"{path}.with", new ValueFault($"names an option that the optic does not have, '{name}'", known));
        }

        foreach (OpticOption option in optic.Options)
        {
            Report(Values(optic, option.Part.Values, path), path, log);
        }

        if (optic.Still.SOPClassUID == SopClasses.OphthalmicPhotography8BitImageStorage && !optic.Always.Values.Has(ValueKeys.EyeDevice))
        {
            Report([("still", new ValueFault("needs eye_device, which every ophthalmic object must name", "Write a code of CID 4202."))], path, log);
        }
    }

    private static void Report(IEnumerable<(string Key, ValueFault Fault)> faults, string path, SettingLog log)
    {
        foreach ((string key, ValueFault fault) in faults)
        {
            log.ReportAt(log.Knows($"{path}.{key}") ? $"{path}.{key}" : $"{path}.name", fault);
        }
    }

    private static IEnumerable<(string Key, ValueFault Fault)> Values(Optic optic, OpticValues values, string path)
    {
        foreach (string name in values.Keys)
        {
            ValueKey key = ValueKeys.Find(name)!;
            if (!key.IsFor(optic.Still.SOPClassUID) && !key.IsFor(optic.Clip.SOPClassUID))
            {
                yield return (name, new ValueFault($"has no place in the objects of {path} ({name})", "Remove it, or choose another class under still."));
            }
        }

        if (values.CodeOf(ValueKeys.BodySite) is { } site && !IsOf(optic, site))
        {
            yield return (ValueKeys.BodySite, new ValueFault(
                "is of a context group that this optic's body sites do not come from", $"Choose one of CID {string.Join(", ", optic.BodySites)}, or change body_sites."));
        }

        if (Flaw(values) is { } flaw)
        {
            yield return (ValueKeys.LensPower, flaw);
        }
    }

    /// <summary>A code of the optic's groups, or one that no group of the program has: then whoever wrote it answers for it.</summary>
    public static bool IsOf(Optic optic, Code site) =>
        optic.BodySites.Count == 0
        || optic.BodySites.Any(group => ContextGroups.Find(group)?.Has(site.Scheme, site.Value) == true)
        || !ValueKeys.AnyBodySite.Any(group => ContextGroups.Find(group)?.Has(site.Scheme, site.Value) == true);

    /// <summary>What is wrong with the lens that was dialled in, or null: an optic's wheel has lenses from the weakest to the strongest and no other.</summary>
    public static ValueFault? Flaw(OpticValues values)
    {
        decimal weakest = values.Number(ValueKeys.WeakestLens) ?? decimal.MinValue;
        decimal strongest = values.Number(ValueKeys.StrongestLens) ?? decimal.MaxValue;
        return weakest > strongest
            ? new ValueFault("cannot be: the weakest lens is stronger than the strongest", "Write weakest_lens and strongest_lens the other way round.")
            : values.Number(ValueKeys.LensPower) is { } power && (power < weakest || power > strongest)
            ? new ValueFault("is no lens of this optic", FormattableString.Invariant($"Its lenses go from {weakest} to {strongest} dioptres."))
            : null;
    }
}
