using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>
/// The circumstances that have no attribute of their own: Acquisition Context (PS3.3 section C.7.6.14), Device (C.7.6.12), and of SOP Common (C.12.1) whose
/// codes of our own are and who made the object; edition 2025e.
/// </summary>
internal static class ContextMapping
{
    private static readonly Code
        Millimetre = new("mm", Code.Units, "millimeter"),
        Second = new("s", Code.Units, "second"),
        FieldWidth = new("FIELD_WIDTH", Code.Own, "Width of the field of view at the working distance"),
        Distance = new("WORKING_DISTANCE", Code.Own, "Working distance"),
        SinceClipBegan = new("SINCE_CLIP_BEGAN", Code.Own, "Time since the beginning of the clip"),
        ClockFast = new("CLOCK_FAST", Code.Own, "Time that the camera's clock was fast"),
        ClockDeviation = new("CLOCK_DEVIATION", Code.Own, "Standard deviation of the time that the camera's clock was fast");

    private static readonly string Version = typeof(ContextMapping).Assembly.GetName().Version?.ToString(3) ?? "0";

    /// <summary>What is equal for all pictures with these values.</summary>
    public static void Map(DataSet target, SeriesFacts series, OpticPart part, List<string> notes)
    {
        ContextItem[] items = [.. part.Context, .. Field(part.Values)];

        // The module is the user's choice in ophthalmic objects and mandatory, with a sequence that may be empty, in all others.
        if (items.Length > 0 || series.SOPClassUID != SopClasses.OphthalmicPhotography8BitImageStorage)
        {
            target.SetItems(Tags.AcquisitionContextSequence, items.Select(Item));
        }

        if (part.Devices.Count > 0 && series.SOPClassUID == SopClasses.DermoscopicPhotographyImageStorage)
        {
            notes.Add("Dermoscopic objects have no place for devices beside the camera; they are left out.");
        }
        else if (part.Devices.Count > 0)
        {
            target.SetItems(Tags.DeviceSequence, part.Devices.Select(Item));
        }

        MapContribution(target, series);
        if (items.Any(IsOwn) || part.Devices.Any(device => device.Kind.Scheme == Code.Own))
        {
            NameOwnScheme(target);
        }
    }

    /// <summary>What a still's reference to a clip says of the time; as exact as the camera's clock.</summary>
    public static void AddMoment(DataSet target, TimeSpan since) => AddSeconds(target, (SinceClipBegan, since.TotalSeconds, 3));

    /// <summary>By how many seconds times were corrected, and the standard deviation of that.</summary>
    public static void AddClock(DataSet target, double fast, double deviation) => AddSeconds(target, (ClockFast, fast, 0), (ClockDeviation, deviation, 1));

    private static void AddSeconds(DataSet target, params (Code Concept, double Seconds, int Digits)[] values)
    {
        IEnumerable<DataSet> more = values.Select(value => Item(new ContextItem(value.Concept, Number: decimal.Round((decimal)value.Seconds, value.Digits), Unit: Second)));
        target.SetItems(Tags.AcquisitionContextSequence, [.. target.GetItems(Tags.AcquisitionContextSequence), .. more]);
        NameOwnScheme(target);
    }

    /// <summary>
    /// The width that an aperture angle spans at a working distance, in millimetres: twice the distance times the tangent of half the angle.
    /// 60 degrees at 8 to 45 mm are 9 to 52 mm, one tooth to five (common practice, no source).
    /// </summary>
    public static decimal WidthAt(decimal apertureAngle, decimal workingDistance) =>
        decimal.Round((decimal)(2 * (double)workingDistance * Math.Tan((double)apertureAngle / 2 * Math.PI / 180)), 1);

    private static IEnumerable<ContextItem> Field(OpticValues values)
    {
        if (values.Number(ValueKeys.WorkingDistance) is not { } distance)
        {
            yield break;
        }

        yield return new ContextItem(Distance, Number: distance, Unit: Millimetre);
        if (values.Number(ValueKeys.ApertureAngle) is { } angle)
        {
            yield return new ContextItem(FieldWidth, Number: WidthAt(angle, distance), Unit: Millimetre);
        }
    }

    private static bool IsOwn(ContextItem item) =>
        item.Concept.Scheme == Code.Own || item.Coded?.Scheme == Code.Own || item.Unit?.Scheme == Code.Own;

    /// <summary>A content item (PS3.3 Table 10-2).</summary>
    private static DataSet Item(ContextItem context)
    {
        var item = new DataSet();
        item.SetItems(Tags.ConceptNameCodeSequence, context.Concept.ToItem());
        if (context is { Number: { } number, Unit: { } unit })
        {
            item.Set(Tags.ValueType, "NUMERIC");
            item.Set(Tags.NumericValue, number.ToString("0.###", CultureInfo.InvariantCulture));
            item.SetItems(Tags.MeasurementUnitsCodeSequence, unit.ToItem());
        }
        else if (context.Coded is { } code)
        {
            item.Set(Tags.ValueType, "CODE");
            item.SetItems(Tags.ConceptCodeSequence, code.ToItem());
        }
        else
        {
            item.Set(Tags.ValueType, "TEXT");
            item.Set(Tags.TextValue, context.Text);
        }

        return item;
    }

    private static DataSet Item(OpticDevice device)
    {
        DataSet item = device.Kind.ToItem();
        SetIfKnown(item, Tags.Manufacturer, device.Manufacturer);
        SetIfKnown(item, Tags.ManufacturerModelName, device.ModelName);
        SetIfKnown(item, Tags.DeviceSerialNumber, device.SerialNumber);
        SetIfKnown(item, Tags.DeviceDescription, device.Description);
        return item;
    }

    /// <summary>
    /// The camera stands in General Equipment; this gateway contributed the object around its file. Of PS3.16 CID 7005 a stick makes it the importer of portable
    /// media, a share a processor.
    /// </summary>
    private static void MapContribution(DataSet target, SeriesFacts series)
    {
        Code purpose = series.Source.Kind == Configuration.SourceKind.Stick
            ? new Code("MEDIM", Code.Dicom, "Portable Media Importer Equipment")
            : new Code("109102", Code.Dicom, "Processing Equipment");
        var item = new DataSet();
        item.SetItems(Tags.PurposeOfReferenceCodeSequence, purpose.ToItem());
        item.Set(Tags.Manufacturer, "CameraBridge");
        item.Set(Tags.ManufacturerModelName, "CameraBridge");
        item.Set(Tags.SoftwareVersions, Version);
        item.Set(Tags.ContributionDescription, "Took over the camera's file and made this object of it");
        target.SetItems(Tags.ContributingEquipmentSequence, item);
    }

    private static void NameOwnScheme(DataSet target)
    {
        var item = new DataSet();
        item.Set(Tags.CodingSchemeDesignator, Code.Own);
        item.Set(Tags.CodingSchemeName, "CameraBridge's own concepts, where no standard code is known");
        item.Set(Tags.CodingSchemeResponsibleOrganization, "CameraBridge");
        target.SetItems(Tags.CodingSchemeIdentificationSequence, item);
    }

    private static void SetIfKnown(DataSet item, Tag tag, string? text)
    {
        if (text is not null)
        {
            item.Set(tag, text);
        }
    }
}
