using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// Makes a still picture's object of the worklist item, the configuration and the camera's file. A pure function: no clock, no random number, no
/// write. The picture goes in bit for bit; what is unknown is empty or absent as its type says; what cannot go in as it is, is held.
/// </summary>
internal static class ObjectComposition
{
    public static ObjectOutcome Compose(ObjectFacts facts)
    {
        if (Obstacle(facts) is { } obstacle)
        {
            return new ObjectOutcome.Held(obstacle);
        }

        var notes = new List<string>();
        var dataSet = new DataSet();
        JpegStream stream = JpegBaseline.Plan(facts.Picture.Header, facts.Picture.Path);
        try
        {
            StepMapping.Map(dataSet, facts, notes);
            EquipmentMapping.Map(dataSet, facts, notes);
            PictureMapping.Map(dataSet, facts, stream, notes);
        }
        catch (ValueException error)
        {
            // Only what says whose picture it is gets here: descriptions are shortened instead. The message names the attribute and the rule.
            return new ObjectOutcome.Held(new Reason(
                "value-not-allowed", $"The worklist's answer cannot be written into an object: {error.Message} Correct the order, then assign the sitting again."));
        }

        dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [stream.Pixels])));
        TransferSyntax syntax = TransferSyntax.JpegBaseline;
        if (IodCheck.Check(dataSet, syntax).FirstOrDefault(finding => finding.Severity == Severity.Error) is { } broken)
        {
            return new ObjectOutcome.Held(new Reason(
                "object-not-conforming",
                $"The object would break a rule of the standard ({broken.Rule} at {broken.Path}, {broken.Section}; right would be: {broken.Right}). Correct the order or the configuration."));
        }

        return new ObjectOutcome.Made(dataSet, ElementWriter.Encode(dataSet, syntax), syntax.Uid, notes);
    }

    private static Reason? Obstacle(ObjectFacts facts)
    {
        if (JpegBaseline.Judge(facts.Picture.Header) is { } refusal)
        {
            return PictureReasons.Of(refusal);
        }

        if (JpegColors.Of(facts.Picture.Header) == JpegColor.Rgb)
        {
            return PictureReasons.StoredAsRgb;
        }

        if (facts.Picture.Exif.Orientation is { } orientation and not 1)
        {
            return PictureReasons.Rotated(orientation);
        }

        if (facts.Step.GetString(Tags.StudyInstanceUID) is not { } uid || !Uids.IsValid(uid))
        {
            return new Reason(
                "study-uid-missing", "The worklist's answer has no valid Study Instance UID (0020,000D), so the picture belongs to no study; have the worklist send one.");
        }

        return facts.Step.GetString(Tags.PatientID) is null
            ? new Reason("patient-id-missing", "The worklist's answer has no Patient ID (0010,0020); have the worklist send one, then assign the sitting again.")
            : null;
    }
}
