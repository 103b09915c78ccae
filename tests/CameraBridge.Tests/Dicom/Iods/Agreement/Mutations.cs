using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;

namespace CameraBridge.Tests.Dicom.Iods.Agreement;

/// <summary>A right object with one thing spoiled.</summary>
/// <param name="Of">Which object.</param>
/// <param name="Kind">removed, emptied, mistyped, ill-formed, out of its values, items dropped, an item too many, or a condition that was flipped.</param>
/// <param name="Where">Path of the attribute, keywords parted by dots.</param>
/// <param name="DataSet">The spoiled object.</param>
internal sealed record Mutation(SoundObject Of, string Kind, string Where, DataSet DataSet)
{
    /// <summary>The kind, with the attribute when it is another than the one that is spoken of.</summary>
    public string How(string attribute) => Where.Length == 0 || Where == attribute ? Kind : $"{Kind} {Where}";
}

/// <summary>Spoils every attribute that the tables demand, one at a time, in each way that its type and representation allow, and flips conditions.</summary>
internal static class Mutations
{
    private static readonly (string Name, Action<DataSet> Flip)[] Flips =
    [
        ("one sample", dataSet => dataSet.SetInt(Tags.SamplesPerPixel, 1)),
        ("a grey picture with Planar Configuration", dataSet =>
        {
            dataSet.SetInt(Tags.SamplesPerPixel, 1);
            dataSet.Set(Tags.PhotometricInterpretation, "MONOCHROME2");
        }),
        ("PALETTE COLOR", dataSet => dataSet.Set(Tags.PhotometricInterpretation, "PALETTE COLOR")),
        ("derived", dataSet => dataSet.Set(Tags.ImageType, "DERIVED", "PRIMARY")),
        ("a stereo partner that is missing", dataSet => dataSet.Set(Tags.ImageType, "ORIGINAL", "PRIMARY", "STEREO L")),
        ("identity removed, not said how", dataSet => dataSet.Set(SoundObjects.Tag("PatientIdentityRemoved"), "YES")),
        ("Window Center alone", dataSet => dataSet.SetDouble(SoundObjects.Tag("WindowCenter"), 128)),
        ("never lossy", dataSet => dataSet.Set(Tags.LossyImageCompression, "00")),
        ("a name beyond ASCII", dataSet => dataSet.Put(Element.FromBytes(Tags.PatientName, Vr.PN, "M\u00fcller^J"u8.ToArray()))),
        ("an animal", dataSet => dataSet.Set(SoundObjects.Tag("PatientSpeciesDescription"), "dog")),
        ("a foreign attribute", dataSet => dataSet.Set(SoundObjects.Tag("KVP"), "120")),
        ("Smoking Status of another module's group", dataSet => dataSet.Set(SoundObjects.Tag("SmokingStatus"), "YES")),
        ("no side", dataSet => dataSet.Remove(Tags.ImageLaterality)),
        ("another side in the series", dataSet => dataSet.Set(SoundObjects.Tag("Laterality"), "L")),
        ("the other side as modifier", dataSet => dataSet.GetItem(Tags.AnatomicRegionSequence)!.SetItems(Tags.AnatomicRegionModifierSequence, SoundObjects.Code("SCT", "7771000", "Left"))),
        ("a Device Sequence without codes", dataSet => dataSet.SetItems(SoundObjects.Tag("DeviceSequence"), new DataSet())),
        ("a specimen without its identifiers", dataSet => dataSet.Set(SoundObjects.Tag("ContainerIdentifier"), "C1")),
        ("an overlay without data", dataSet => dataSet.SetInt(SoundObjects.Tag("OverlayRows"), 8)),
        ("an empty ICC profile", dataSet => dataSet.SetEmpty(Tags.ICCProfile)),
        ("a reference without its class", dataSet =>
        {
            var reference = new DataSet();
            reference.Set(SoundObjects.Tag("ReferencedSOPInstanceUID"), "2.25.77");
            dataSet.SetItems(SoundObjects.Tag("ReferencedImageSequence"), reference);
        }),
        ("two frames", dataSet => dataSet.SetInt(Tags.NumberOfFrames, 2)),
        ("a pointer to Frame Time Vector", dataSet => dataSet.Put(Element.FromBytes(SoundObjects.Tag("FrameIncrementPointer"), Vr.AT, new byte[] { 0x18, 0x00, 0x65, 0x10 }))),
        ("no contact", dataSet => dataSet.Set(SoundObjects.Tag("ContactMethod"), "NON_CONTACT")),
        ("no dilation", dataSet => dataSet.Set(SoundObjects.Tag("PupilDilated"), "NO")),
        ("no command", dataSet => dataSet.Set(SoundObjects.Tag("PatientEyeMovementCommanded"), "NO")),
        ("12 bits", dataSet => dataSet.SetInt(Tags.BitsStored, 12)),
        ("High Bit 6", dataSet => dataSet.SetInt(Tags.HighBit, 6)),
        ("planes", dataSet => dataSet.SetInt(Tags.PlanarConfiguration, 1)),
        ("a private element without creator", dataSet => dataSet.Put(Element.FromBytes(new Tag(0x0009, 0x1001), Vr.LO, "some"u8.ToArray()))),
        ("a name of two values", dataSet => dataSet.Put(Element.FromBytes(Tags.PatientName, Vr.PN, "Doe^A\\Doe^B "u8.ToArray()))),
        ("two modalities", dataSet => dataSet.Put(Element.FromBytes(Tags.Modality, Vr.CS, "ES\\XC "u8.ToArray()))),
        ("one orientation", dataSet => dataSet.Put(Element.FromBytes(Tags.PatientOrientation, Vr.CS, "L "u8.ToArray()))),
        ("a consent to clinical trials alone", dataSet => dataSet.Set(SoundObjects.Tag("ClinicalTrialSponsorName"), "Sponsor")),
        ("an RGB label", dataSet => dataSet.Set(Tags.PhotometricInterpretation, "RGB")),
        ("a label of full range", dataSet => dataSet.Set(Tags.PhotometricInterpretation, "YBR_FULL")),
        ("Presentation LUT Shape of a colour picture", dataSet => dataSet.Set(SoundObjects.Tag("PresentationLUTShape"), "IDENTITY")),
    ];

    public static IEnumerable<Mutation> All()
    {
        foreach (SoundObject sound in SoundObjects.All)
        {
            foreach (Mutation mutation in Of(sound))
            {
                yield return mutation;
            }

            foreach ((string name, Action<DataSet> flip) in Flips)
            {
                DataSet dataSet = sound.Make();
                flip(dataSet);
                yield return new Mutation(sound, $"flipped: {name}", "", dataSet);
            }
        }
    }

    private static IEnumerable<Mutation> Of(SoundObject sound)
    {
        Iod iod = IodTables.Find(sound.Make().GetString(Tags.SOPClassUID))!;
        AttributeRow[] rows = [.. iod.Modules.SelectMany(use => use.Module.Rows)];
        return Below(sound, sound.Make(), rows, []);
    }

    private static IEnumerable<Mutation> Below(SoundObject sound, DataSet here, AttributeRow[] rows, Tag[] way)
    {
        foreach (Element element in here.ToArray())
        {
            AttributeRow[] about = [.. rows.Where(row => row.Tag == element.Tag)];
            if (element.Tag == Tags.SOPClassUID)
            {
                continue;
            }

            if (about.Any(row => row.Type != '3') || about.Any(row => row.Constraints.Count > 0))
            {
                foreach ((string kind, Element? spoiled) in Spoil(element, about))
                {
                    DataSet dataSet = sound.Make();
                    DataSet place = way.Aggregate(dataSet, (outer, tag) => outer.GetItem(tag)!);
                    place.Remove(element.Tag);
                    if (spoiled is not null)
                    {
                        place.Put(spoiled);
                    }

                    yield return new Mutation(sound, kind, string.Join('.', way.Append(element.Tag).Select(tag => TagDictionary.Find(tag)!.Keyword)), dataSet);
                }
            }

            if (element.Items is [var item, ..])
            {
                foreach (Mutation mutation in Below(sound, item, [.. about.SelectMany(row => row.Rows)], [.. way, element.Tag]))
                {
                    yield return mutation;
                }
            }
        }
    }

    private static IEnumerable<(string Kind, Element? Spoiled)> Spoil(Element element, AttributeRow[] about)
    {
        if (about.Any(row => row.Type != '3'))
        {
            yield return ("removed", null);
        }

        if (element.Encapsulated is not null)
        {
            yield break;
        }

        if (element.Items is { Count: > 0 } items)
        {
            yield return ("items dropped", Element.FromItems(element.Tag));
            yield return ("an item too many", Element.FromItems(element.Tag, [.. items.Select(item => item.Clone()), .. items.Select(item => item.Clone())]));
            yield return ("mistyped", Element.FromBytes(element.Tag, Vr.LO, "text"u8.ToArray()));
        }
        else if (element.Items is null)
        {
            if (!element.IsEmpty)
            {
                yield return ("emptied", Element.FromBytes(element.Tag, element.Vr, default));
            }

            yield return ("mistyped", element.Vr.IsText() ? Element.FromBytes(element.Tag, Vr.US, new byte[] { 1, 0 }) : Element.FromBytes(element.Tag, Vr.LO, "text"u8.ToArray()));
            if (IllFormed(element.Vr) is { } illFormed)
            {
                yield return ("ill-formed", Element.FromBytes(element.Tag, element.Vr, illFormed));
            }

            if (about.Any(row => row.Constraints.Any(constraint => !constraint.IsOpen)))
            {
                yield return ("out of its values", Element.FromBytes(element.Tag, element.Vr, element.Vr is Vr.US ? [77, 0] : "QQ"u8.ToArray()));
            }
        }
    }

    private static byte[]? IllFormed(Vr vr) => vr switch
    {
        Vr.CS => "lower "u8.ToArray(),
        Vr.DA => "20261399"u8.ToArray(),
        Vr.TM => "256161"u8.ToArray(),
        Vr.DT => "20261399"u8.ToArray(),
        Vr.UI => "1.02.3"u8.ToArray(),
        Vr.IS => "12x "u8.ToArray(),
        Vr.DS => "1,5 "u8.ToArray(),
        Vr.AS => "64 Y"u8.ToArray(),
        Vr.SH => "12345678901234567890"u8.ToArray(),
        Vr.LO or Vr.PN => [.. Enumerable.Repeat((byte)'x', 66)],
        _ => null,
    };
}
