using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Dicom.Part10;
using CameraBridge.Pipeline.Objects.Mapping;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// Makes an object of the worklist item, the configuration, the optic, the cues and the content of the camera's file. A pure function: no clock, no random
/// number, no write. What is unknown is empty or absent as its type says; what must be known and is not, holds.
/// </summary>
internal static class ObjectComposition
{
    public static ObjectOutcome Compose(SeriesTemplate template, PictureFacts picture)
    {
        var notes = new List<string>();
        (DataSet? described, Reason? held) = Describe(template, picture, notes);
        if (described is not { } dataSet)
        {
            return new ObjectOutcome.Held(held!);
        }

        TransferSyntax syntax = TransferSyntax.Find(picture.Content.TransferSyntaxUID)
            ?? throw new InvalidOperationException($"The content's transfer syntax {picture.Content.TransferSyntaxUID} is not known.");
        return IodCheck.Check(dataSet, syntax).FirstOrDefault(finding => finding.Severity == Severity.Error) is { } broken
            ? new ObjectOutcome.Held(new Reason(
                "object-not-conforming",
                $"The object would break a rule of the standard ({broken.Rule} at {broken.Path}, {broken.Section}; right would be: {broken.Right}). Correct the order or the configuration."))
            : new ObjectOutcome.Made(dataSet, ElementWriter.Encode(dataSet, syntax), syntax.Uid, notes);
    }

    /// <summary>The object before it is checked, or why there is none.</summary>
    internal static (DataSet? DataSet, Reason? Held) Describe(SeriesTemplate template, PictureFacts picture, List<string> notes)
    {
        (DataSet? begun, Reason? held) = template.Begin(picture.Said, notes);
        if (begun is not { } dataSet)
        {
            return (null, held);
        }

        if (template.Facts.SOPClassUID == SopClasses.OphthalmicPhotography8BitImageStorage && picture.TakenAt is null)
        {
            return (null, PictureReasons.TimeUnknown);
        }

        notes.AddRange(picture.Content.Notes);
        PictureMapping.Map(dataSet, template.Facts, picture);
        if (picture.Content is StillContent still)
        {
            EquipmentMapping.MapCamera(dataSet, still.Exif, notes);
            if (still.Exif.Settings is { } settings
                && template.Facts.SOPClassUID is SopClasses.VLPhotographicImageStorage or SopClasses.DermoscopicPhotographyImageStorage)
            {
                PhotographicMapping.Map(dataSet, settings, notes);
            }
        }

        if (OpticNeeds.MissingEquipment(template.Facts, dataSet) is { } missing)
        {
            return (null, missing);
        }

        dataSet.Put(picture.Content.Native is { } native
            ? Element.FromPixels(Tags.PixelData, Vr.OB, native)
            : Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, picture.Content.Fragments)));
        return (dataSet, null);
    }
}
