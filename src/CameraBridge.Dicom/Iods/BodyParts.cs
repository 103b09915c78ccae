using System.Collections.Frozen;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>A body part as body-parts.tsv has it.</summary>
/// <param name="Code">SNOMED CT code.</param>
/// <param name="Meaning">Its meaning in the standard's words.</param>
/// <param name="Term">Defined term of Body Part Examined (0018,0015), or empty where PS3.16 Annex L has none that fits.</param>
/// <param name="IsPaired">True when there is a right and a left one.</param>
public sealed record BodyPart(string Code, string Meaning, string Term, bool IsPaired);

/// <summary>The body parts that visible light cameras see (PS3.16 Annex L and CIDs 4, 4028, 4029, 4040, 4209; edition 2025e), as a table.</summary>
public static class BodyParts
{
    private static readonly Lazy<FrozenDictionary<string, BodyPart>> ByCodeTable = new(() => Read().ToFrozenDictionary(part => part.Code));

    private static readonly Lazy<FrozenDictionary<string, BodyPart>> ByTermTable = new(() =>
        Read().Where(part => part.Term.Length > 0).DistinctBy(part => part.Term).ToFrozenDictionary(part => part.Term));

    /// <summary>The part with this SNOMED CT code, or null.</summary>
    public static BodyPart? ByCode(string? code) => code is null ? null : ByCodeTable.Value.GetValueOrDefault(code);

    /// <summary>The part with this term of Body Part Examined, or null.</summary>
    public static BodyPart? ByTerm(string? term) => term is null ? null : ByTermTable.Value.GetValueOrDefault(term);

    /// <summary>Whether the part that an object names is paired; null when it names none that the table knows.</summary>
    public static bool? IsPaired(DataSet dataSet)
    {
        ArgumentNullException.ThrowIfNull(dataSet);
        DataSet? region = dataSet[Tags.AnatomicRegionSequence]?.Items is [var first, ..] ? first : null;
        BodyPart? part = ByCode(ElementText.First(region?[Tags.CodeValue])) ?? ByTerm(ElementText.First(dataSet[Tags.BodyPartExamined]));
        return part?.IsPaired;
    }

    private static IEnumerable<BodyPart> Read()
    {
        using Stream stream = typeof(BodyParts).Assembly.GetManifestResourceStream("CameraBridge.Dicom.Iods.body-parts.tsv")!;
        using var reader = new StreamReader(stream);
        while (reader.ReadLine() is { } line)
        {
            if (line.Length > 0 && line[0] != '#' && line.Split('\t') is [var code, var meaning, var term, var paired])
            {
                yield return new BodyPart(code, meaning, term == "-" ? "" : term, paired == "paired");
            }
        }
    }
}
