using System.Collections.Frozen;
using System.Diagnostics.CodeAnalysis;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;

namespace CameraBridge.Pipeline.Objects;

/// <summary>What the pictures of an optic become.</summary>
/// <param name="Name">Name in the configuration and in sidecar files.</param>
/// <param name="SOPClassUID">Storage class of a still.</param>
/// <param name="Modality">Modality (0008,0060): ES or XC for the classes of today.</param>
/// <param name="BodyPart">What it looks at, or null when only the order knows.</param>
internal sealed record Optic(string Name, string SOPClassUID, string Modality, BodyPart? BodyPart);

/// <summary>The optics table, optics.tsv.</summary>
internal static class Optics
{
    private static readonly Lazy<FrozenDictionary<string, Optic>> Table = new(() => Read().ToFrozenDictionary(optic => optic.Name));

    /// <summary>Names of all optics, in the order of the alphabet.</summary>
    public static IEnumerable<string> Names => Table.Value.Keys.Order(StringComparer.Ordinal);

    /// <summary>The optic with this name, or false.</summary>
    public static bool TryFind(string name, [NotNullWhen(true)] out Optic? optic) => Table.Value.TryGetValue(name, out optic);

    private static IEnumerable<Optic> Read()
    {
        using Stream stream = typeof(Optics).Assembly.GetManifestResourceStream("CameraBridge.Pipeline.Objects.optics.tsv")!;
        using var reader = new StreamReader(stream);
        while (reader.ReadLine() is { } line)
        {
            if (line.Length > 0 && line[0] != '#')
            {
                yield return line.Split('\t') is [var name, var storageClass, var modality, var code]
                    ? new Optic(name, ClassOf(storageClass), modality, code == "-" ? null : PartOf(code))
                    : throw new InvalidOperationException($"optics.tsv: the row \"{line}\" has not four columns.");
            }
        }
    }

    private static string ClassOf(string keyword) => keyword switch
    {
        nameof(SopClasses.VLEndoscopicImageStorage) => SopClasses.VLEndoscopicImageStorage,
        nameof(SopClasses.VLPhotographicImageStorage) => SopClasses.VLPhotographicImageStorage,
        _ => throw new InvalidOperationException($"optics.tsv: {keyword} is no storage class that objects are made of."),
    };

    private static BodyPart PartOf(string code) =>
        BodyParts.ByCode(code) ?? throw new InvalidOperationException($"optics.tsv: {code} is not in the table of body parts.");
}
