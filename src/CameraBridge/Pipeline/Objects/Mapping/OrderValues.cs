using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>
/// What the order says of the pictures by codes that mean one thing only: a side, a tooth, a view, a body site of the optic. They are looked for in Scheduled
/// Protocol Code Sequence and the values of its Protocol Context Sequence (PS3.3 section C.4.10). Two different sides, or two sites, say nothing.
/// </summary>
internal static class OrderValues
{
    public static OpticValues Of(DataSet step, Optic optic)
    {
        List<(string Scheme, string Value)> codes = [.. Codes(step).Distinct()];
        OpticValues values = OpticValues.None;
        string[] teeth = [.. codes.Select(code => Teeth.DesignationOf(code.Scheme, code.Value)).OfType<string>()];
        if (teeth.Length > 0)
        {
            values = values.With(ValueKeys.Tooth, teeth);
        }

        values = WithOnly(values, ValueKeys.Side, [.. codes.Select(Side).OfType<string>()]);
        values = WithOnly(values, ValueKeys.View, [.. Of(codes, [4062, 4063])]);
        return WithOnly(values, ValueKeys.BodySite, [.. Of(codes, optic.BodySites)]);
    }

    /// <summary>The one side that the order names: R, L or B; null when it names none, or two.</summary>
    public static string? SideOf(DataSet step) => Codes(step).Distinct().Select(Side).OfType<string>().ToArray() is [var only] ? only : null;

    private static OpticValues WithOnly(OpticValues values, string key, string[] found) => found is [var only] ? values.With(key, only) : values;

    private static IEnumerable<string> Of(IEnumerable<(string Scheme, string Value)> codes, IReadOnlyList<int> groups)
    {
        foreach ((string scheme, string value) in codes)
        {
            if (ValueKeys.FindCode(value, groups) is { } code && code.Scheme == scheme)
            {
                yield return code.ToString();
            }
        }
    }

    /// <summary>PS3.16 CID 244.</summary>
    private static string? Side((string Scheme, string Value) code) => code switch
    {
        (Code.Snomed, "24028007") => "R",
        (Code.Snomed, "7771000") => "L",
        (Code.Snomed, "51440002") => "B",
        _ => null,
    };

    private static IEnumerable<(string Scheme, string Value)> Codes(DataSet step)
    {
        DataSet scheduled = step.GetItem(Tags.ScheduledProcedureStepSequence) ?? new DataSet();
        foreach (DataSet protocol in scheduled.GetItems(Tags.ScheduledProtocolCodeSequence))
        {
            IEnumerable<DataSet> items = protocol.GetItems(Tags.ProtocolContextSequence).SelectMany(context => context.GetItems(Tags.ConceptCodeSequence));
            foreach (DataSet item in items.Prepend(protocol))
            {
                if (item.GetString(Tags.CodeValue) is { } value && item.GetString(Tags.CodingSchemeDesignator) is { } scheme)
                {
                    yield return (scheme, value);
                }
            }
        }
    }
}
