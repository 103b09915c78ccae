using System.Globalization;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// What the picture gives to the object: acquisition, General Image, Image Pixel, VL Image, ICC Profile, anatomy and side, SOP Common (PS3.3
/// sections C.7.10.1, C.7.6.1, C.7.6.3, C.8.12.1, C.11.15, C.12.1; edition 2025e).
/// </summary>
internal static class PictureMapping
{
    private const string RightCode = "24028007", LeftCode = "7771000";

    public static void Map(DataSet target, ObjectFacts facts, JpegStream stream, List<string> notes)
    {
        target.Set(Tags.SOPClassUID, facts.Series.Optic.SOPClassUID);
        target.Set(Tags.SOPInstanceUID, facts.Picture.SOPInstanceUID);
        MapTimes(target, facts);
        MapImage(target, facts, stream);
        MapColor(target, facts.Picture, stream, notes);
        MapAnatomy(target, facts.Series.Optic.BodyPart, facts.Picture.Side);
        target.SetEmpty(Tags.AcquisitionContextSequence);
    }

    /// <summary>
    /// Timezone Offset From UTC governs every date and time of the object that has no zone of its own, the study's too; so all are told in the
    /// zone of the study's beginning, whatever sitting they are of.
    /// </summary>
    private static void MapTimes(DataSet target, ObjectFacts facts)
    {
        TimeSpan zone = facts.Series.StudyStartedAt.Offset;
        target.Set(Tags.TimezoneOffsetFromUTC, string.Create(
            CultureInfo.InvariantCulture, $"{(zone < TimeSpan.Zero ? '-' : '+')}{Math.Abs(zone.Hours):00}{Math.Abs(zone.Minutes):00}"));
        if (facts.Picture.TakenAt is { } takenAt)
        {
            DateTimeOffset local = takenAt.ToOffset(zone);
            target.SetDateTime(Tags.AcquisitionDateTime, takenAt);
            target.SetDate(Tags.ContentDate, DateOnly.FromDateTime(local.DateTime));
            target.SetTime(Tags.ContentTime, TimeOnly.FromDateTime(local.DateTime));
        }
    }

    private static void MapImage(DataSet target, ObjectFacts facts, JpegStream stream)
    {
        target.Set(Tags.ImageType, "ORIGINAL", "PRIMARY");
        target.SetInt(Tags.InstanceNumber, facts.Picture.InstanceNumber);
        target.SetEmpty(Tags.PatientOrientation);
        target.SetInt(Tags.SamplesPerPixel, stream.SamplesPerPixel);
        target.Set(Tags.PhotometricInterpretation, stream.PhotometricInterpretation);
        if (stream.SamplesPerPixel > 1)
        {
            target.SetInt(Tags.PlanarConfiguration, [0]);
        }

        target.SetInt(Tags.Rows, stream.Rows);
        target.SetInt(Tags.Columns, stream.Columns);
        target.SetInt(Tags.BitsAllocated, 8);
        target.SetInt(Tags.BitsStored, 8);
        target.SetInt(Tags.HighBit, 7);
        target.SetInt(Tags.PixelRepresentation, [0]);

        // Lossy from the sensor on: "01", and yet ORIGINAL (PS3.3 section C.7.6.1.1.5).
        double ratio = (double)stream.Rows * stream.Columns * stream.SamplesPerPixel / stream.StreamLength;
        target.Set(Tags.LossyImageCompression, "01");
        target.Set(Tags.LossyImageCompressionRatio, ratio.ToString("0.##", CultureInfo.InvariantCulture));
        target.Set(Tags.LossyImageCompressionMethod, "ISO_10918_1");
    }

    /// <summary>The camera's own profile; without one, the name of the colour space that Exif tells. A grey picture has neither.</summary>
    private static void MapColor(DataSet target, PictureFacts picture, JpegStream stream, List<string> notes)
    {
        if (stream.SamplesPerPixel == 1)
        {
            return;
        }

        IccProfile? profile = IccProfile.Assemble(picture.Header.IccChunks, out string? flaw);
        if (profile is { FitsRgb: true })
        {
            target.SetBytes(Tags.ICCProfile, profile.Bytes);
            SetColorSpace(target, profile.ColorSpace);
            return;
        }

        if (flaw is not null || profile is not null)
        {
            notes.Add(flaw is null ? "The colour profile is not for RGB samples and is left out." : $"{flaw} It is left out.");
            return;
        }

        SetColorSpace(target, picture.Exif switch
        {
            { ColorSpace: 1 } => "SRGB",
            { InteroperabilityIndex: "R03" } or { ColorSpace: 2 } => "ADOBERGB",
            _ => null,
        });
    }

    private static void SetColorSpace(DataSet target, string? ColorSpace)
    {
        if (ColorSpace is not null)
        {
            target.Set(Tags.ColorSpace, ColorSpace);
        }
    }

    /// <summary>
    /// The side goes into Image Laterality for paired parts and for those that only the order knows; where such a part's side is unknown,
    /// Laterality stands empty (type 2C of PS3.3 section C.7.3.1). The region's modifier tells the side of any known part.
    /// </summary>
    private static void MapAnatomy(DataSet target, BodyPart? part, string? side)
    {
        if (part is null or { IsPaired: true })
        {
            if (side is null)
            {
                target.SetEmpty(Tags.Laterality);
            }
            else
            {
                target.Set(Tags.ImageLaterality, side);
            }
        }

        if (part is null)
        {
            return;
        }

        if (part.Term.Length > 0)
        {
            target.Set(Tags.BodyPartExamined, part.Term);
        }

        DataSet region = Code(part.Code, part.Meaning);
        if (side is not null)
        {
            region.SetItems(Tags.AnatomicRegionModifierSequence, side == "R" ? Code(RightCode, "Right") : Code(LeftCode, "Left"));
        }

        target.SetItems(Tags.AnatomicRegionSequence, region);
    }

    /// <summary>A code of SNOMED CT (PS3.16 section 8, designator SCT).</summary>
    private static DataSet Code(string value, string meaning)
    {
        var code = new DataSet();
        code.Set(Tags.CodeValue, value);
        code.Set(Tags.CodingSchemeDesignator, "SCT");
        code.Set(Tags.CodeMeaning, meaning);
        return code;
    }
}
