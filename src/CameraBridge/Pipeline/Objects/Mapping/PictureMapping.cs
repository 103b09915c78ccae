using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues.Cards;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>
/// What the one picture or clip gives to its object: identity, times, General Image, Image Pixel, lossy compression, derivation, colour, the clip it was
/// taken in (PS3.3 sections C.7.6.1, C.7.6.3, C.7.10.1, C.8.12.1, C.8.17.2, C.11.15, C.12.1, C.12.2, C.12.4; edition 2025e).
/// </summary>
internal static class PictureMapping
{
    /// <summary>Of PS3.16 CID 7210; CID 7201, which may be extended, has none for pictures of the same moment.</summary>
    private static readonly Code SimultaneouslyAcquired = new("122400", Code.Dicom, "Simultaneously Acquired");

    public static void Map(DataSet target, SeriesFacts series, PictureFacts picture)
    {
        bool isEye = series.SOPClassUID == SopClasses.OphthalmicPhotography8BitImageStorage;
        target.Set(Tags.SOPInstanceUID, picture.SOPInstanceUID);
        target.SetInt(Tags.InstanceNumber, [picture.InstanceNumber]);
        MapTimes(target, series, picture);
        MapType(target, picture.Content, isEye ? ImageOf(series, target) : null);
        MapPixels(target, picture.Content, isEye);
        MapLossySteps(target, picture.Content);
        MapColor(target, picture.Content);
        if (picture.Content is ClipContent clip)
        {
            ClipMapping.Map(target, clip);
        }

        if (picture.Scale is { } scale && !isEye)
        {
            MapScale(target, scale);
        }

        if (picture.During is { } moment)
        {
            MapMoment(target, moment);
        }
    }

    /// <summary>
    /// Timezone Offset From UTC governs every date and time of the object that has no zone of its own, the study's too; so all are told in the
    /// zone of the study's beginning, whatever sitting they are of.
    /// </summary>
    private static void MapTimes(DataSet target, SeriesFacts series, PictureFacts picture)
    {
        TimeSpan zone = series.StudyStartedAt.Offset;
        target.Set(Tags.TimezoneOffsetFromUTC, string.Create(
            CultureInfo.InvariantCulture, $"{(zone < TimeSpan.Zero ? '-' : '+')}{Math.Abs(zone.Hours):00}{Math.Abs(zone.Minutes):00}"));
        if (picture.TakenAt is { } takenAt)
        {
            DateTimeOffset local = takenAt.ToOffset(zone);
            target.SetDateTime(Tags.AcquisitionDateTime, takenAt);
            target.SetDate(Tags.ContentDate, DateOnly.FromDateTime(local.DateTime));
            target.SetTime(Tags.ContentTime, TimeOnly.FromDateTime(local.DateTime));
        }
    }

    /// <summary>Image Type value 4 of ophthalmic objects, which the template left there.</summary>
    private static string? ImageOf(SeriesFacts series, DataSet target) =>
        series.Kind == CaptureKind.Still && target.GetStrings(Tags.ImageType) is [_, _, _, var image] ? image : null;

    /// <summary>
    /// Lossy from the sensor on is ORIGINAL yet (PS3.3 section C.7.6.1.1.5); DERIVED only where pixel values were changed afterwards (C.7.6.1.1.2).
    /// </summary>
    private static void MapType(DataSet target, Content content, string? eyeImage)
    {
        string first = content.Derivation is { PixelsChanged: true } ? "DERIVED" : "ORIGINAL";
        if (eyeImage is null)
        {
            target.Set(Tags.ImageType, first, "PRIMARY");
        }
        else
        {
            // Value 3 tells how an ophthalmic image was derived, and an original has none (PS3.3 C.8.17.2.1.1); its only defined term is MONTAGE.
            target.Set(Tags.ImageType, first, "PRIMARY", first == "DERIVED" ? "REENCODED" : "", eyeImage);
        }

        if (content.Derivation is not { } derivation)
        {
            return;
        }

        target.Set(Tags.DerivationDescription, derivation.Words);
        if (derivation.Codes.Count > 0)
        {
            target.SetItems(
                Tags.DerivationCodeSequence, derivation.Codes.Select(code => new Code(code.CodeValue, code.CodingSchemeDesignator, code.CodeMeaning).ToItem()));
        }

        if (derivation.PixelsChanged && target.Contains(Tags.PupilDilated))
        {
            // Type 2C of derived ophthalmic objects: the camera's file was never an object.
            target.SetItems(Tags.SourceImageSequence, []);
        }
    }

    private static void MapPixels(DataSet target, Content content, bool isEye)
    {
        target.SetInt(Tags.SamplesPerPixel, [content.SamplesPerPixel]);
        target.Set(Tags.PhotometricInterpretation, content.PhotometricInterpretation);
        if (content.SamplesPerPixel > 1)
        {
            target.SetInt(Tags.PlanarConfiguration, [0]);
        }
        else if (isEye)
        {
            target.Set(Tags.PresentationLUTShape, "IDENTITY");
        }

        target.SetInt(Tags.Rows, [content.Rows]);
        target.SetInt(Tags.Columns, [content.Columns]);
        target.SetInt(Tags.BitsAllocated, [content.BitsAllocated]);
        target.SetInt(Tags.BitsStored, [content.BitsStored]);
        target.SetInt(Tags.HighBit, [content.BitsStored - 1]);
        target.SetInt(Tags.PixelRepresentation, [0]);
    }

    private static void MapLossySteps(DataSet target, Content content)
    {
        target.Set(Tags.LossyImageCompression, content.LossySteps.Count > 0 ? "01" : "00");
        if (content.LossySteps.Count > 0)
        {
            target.Set(
                Tags.LossyImageCompressionRatio, content.LossySteps.Select(step => decimal.Max(step.Ratio, 0.01m).ToString("0.##", CultureInfo.InvariantCulture)));
            target.Set(Tags.LossyImageCompressionMethod, content.LossySteps.Select(step => step.Method));
        }
    }

    private static void MapColor(DataSet target, Content content)
    {
        if (!content.IccProfile.IsEmpty)
        {
            target.SetBytes(Tags.ICCProfile, content.IccProfile);
        }

        if (content.ColorSpace is { } ColorSpace)
        {
            target.Set(Tags.ColorSpace, ColorSpace);
        }
    }

    /// <summary>
    /// Pixel Spacing with how it was found (PS3.3 sections 10.7.1.1 and 10.7.1.3): between rows, then between columns, which are alike in a plane that faces the
    /// camera. Not for eyes: a card before the lens says nothing of the retina.
    /// </summary>
    private static void MapScale(DataSet target, ScaleMeasure scale)
    {
        string spacing = scale.Spacing.ToString("0.######", CultureInfo.InvariantCulture);
        target.Set(Tags.PixelSpacing, spacing, spacing);
        target.Set(Tags.PixelSpacingCalibrationType, "FIDUCIAL");
        target.Set(Tags.PixelSpacingCalibrationDescription, string.Create(
            CultureInfo.InvariantCulture, $"Scale card, +-{100 * scale.Uncertainty:0.0} %, in its plane only, not validated"));
    }

    /// <summary>Which clip was running, the frame that is shown at the still's time, and the time itself (PS3.3 sections C.12.2 and C.12.4).</summary>
    private static void MapMoment(DataSet target, ClipMoment moment)
    {
        DataSet reference = Reference(moment);
        reference.SetInt(Tags.ReferencedFrameNumber, [moment.Frame]);
        reference.SetItems(Tags.PurposeOfReferenceCodeSequence, SimultaneouslyAcquired.ToItem());
        target.SetItems(Tags.ReferencedImageSequence, reference);

        var ofSeries = new DataSet();
        ofSeries.Set(Tags.SeriesInstanceUID, moment.SeriesInstanceUID);
        ofSeries.SetItems(Tags.ReferencedInstanceSequence, Reference(moment));
        target.SetItems(Tags.ReferencedSeriesSequence, ofSeries);
        ContextMapping.AddMoment(target, moment.Since);
    }

    private static DataSet Reference(ClipMoment moment)
    {
        var reference = new DataSet();
        reference.Set(Tags.ReferencedSOPClassUID, moment.SOPClassUID);
        reference.Set(Tags.ReferencedSOPInstanceUID, moment.SOPInstanceUID);
        return reference;
    }
}
