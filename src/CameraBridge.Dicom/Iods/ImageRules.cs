using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Iods;

/// <summary>Agreements between attributes, and between attributes and the encoding, that no single row of a module table states.</summary>
internal static class ImageRules
{
    public static void Check(DataSet dataSet, TransferSyntax syntax, FindingList findings)
    {
        CheckPixelData(dataSet, syntax, findings);
        BitstreamRules.CheckNative(dataSet, findings);
        CheckBits(dataSet, findings);
        CheckLossy(dataSet, syntax, findings);
        CheckSides(dataSet, findings);
        CheckOrientation(dataSet, findings);
        CheckImageType(dataSet, findings);
        FrameRules.Check(dataSet, findings);
    }

    /// <summary>True for transfer syntaxes whose bit stream has lost something whatever is done.</summary>
    public static bool IsLossy(string TransferSyntaxUID) => MethodOf(TransferSyntaxUID) is not null;

    /// <summary>The defined term of Lossy Image Compression Method (PS3.3 section C.7.6.1.1.5.1) for a lossy transfer syntax, else null.</summary>
    private static string? MethodOf(string TransferSyntaxUID) => TransferSyntaxUID switch
    {
        TransferSyntaxes.JPEGBaseline8Bit or TransferSyntaxes.JPEGExtended12Bit => "ISO_10918_1",
        TransferSyntaxes.HEVCMP51 or TransferSyntaxes.HEVCM10P51 => "ISO_23008_2",
        _ when TransferSyntaxUID.StartsWith("1.2.840.10008.1.2.4.100", StringComparison.Ordinal)
            || TransferSyntaxUID.StartsWith("1.2.840.10008.1.2.4.101", StringComparison.Ordinal) => "ISO_13818_2",
        _ when TransferSyntaxUID.StartsWith("1.2.840.10008.1.2.4.10", StringComparison.Ordinal) => "ISO_14496_10",
        _ => null,
    };

    // PS3.5 section A.4: pixels of the top level are encapsulated in these syntaxes, and only in them.
    private static void CheckPixelData(DataSet dataSet, TransferSyntax syntax, FindingList findings)
    {
        if (!dataSet.TryFind(Tags.PixelData, out Element? pixels))
        {
            return;
        }

        if (syntax.IsEncapsulated != pixels.Encapsulated is not null)
        {
            findings.Add(
                Severity.Error, "pixels.encapsulation", null, "PixelData", "PS3.5 A.4", pixels.Encapsulated is null ? "native" : "encapsulated",
                syntax.IsEncapsulated ? "encapsulated" : "native");
        }

        if (pixels.Encapsulated is { Fragments.Count: 0 })
        {
            findings.Add(Severity.Error, "pixels.empty", null, "PixelData", "PS3.5 A.4", "no fragment", "one fragment or more");
        }

        foreach (string keyword in (string[])["Rows", "Columns"])
        {
            if (ElementText.First(dataSet[keyword == "Rows" ? Tags.Rows : Tags.Columns]) == "0")
            {
                findings.Add(Severity.Error, "pixels.size", null, keyword, "PS3.3 C.7.6.3", "0", "1 to 65535");
            }
        }
    }

    // PS3.5 section 8.1.1.
    private static void CheckBits(DataSet dataSet, FindingList findings)
    {
        if (int.TryParse(ElementText.First(dataSet[Tags.BitsStored]), out int stored))
        {
            if (int.TryParse(ElementText.First(dataSet[Tags.HighBit]), out int high) && high != stored - 1)
            {
                findings.Add(Severity.Error, "pixels.highbit", null, "HighBit", "PS3.5 8.1.1", $"{high}", $"{stored - 1}, one less than Bits Stored");
            }

            if (int.TryParse(ElementText.First(dataSet[Tags.BitsAllocated]), out int allocated) && stored > allocated)
            {
                findings.Add(Severity.Error, "pixels.bits", null, "BitsStored", "PS3.5 8.1.1", $"{stored}", $"at most Bits Allocated, {allocated}");
            }
        }
    }

    // PS3.3 section C.7.6.1.1.5: once lossy, always said; the method is a type 3 attribute that a lossy object should have.
    private static void CheckLossy(DataSet dataSet, TransferSyntax syntax, FindingList findings)
    {
        string? lossy = ElementText.First(dataSet[Tags.LossyImageCompression]);
        string? method = MethodOf(syntax.Uid);
        if (method is not null && lossy != "01" && dataSet.Contains(Tags.LossyImageCompression))
        {
            findings.Add(Severity.Error, "lossy.said", null, "LossyImageCompression", "PS3.3 C.7.6.1.1.5", lossy ?? "nothing", "01 in a lossy transfer syntax");
        }

        if (lossy != "01")
        {
            return;
        }

        if (method is not null && dataSet[Tags.LossyImageCompressionMethod] is { IsEmpty: false } told && !ElementText.Values(told).Contains(method))
        {
            findings.Add(
                Severity.Error, "lossy.method", null, "LossyImageCompressionMethod", "PS3.3 C.7.6.1.1.5.1", $"\"{ElementText.First(told)}\"", $"\"{method}\" among them, the method of the transfer syntax");
        }

        foreach ((Tag tag, string keyword) in new[]
        {
            (Tags.LossyImageCompressionMethod, "LossyImageCompressionMethod"),
            (Tags.LossyImageCompressionRatio, "LossyImageCompressionRatio"),
        })
        {
            if (dataSet[tag] is not { IsEmpty: false })
            {
                findings.Add(Severity.Warning, "lossy.described", null, keyword, "PS3.3 C.7.6.1.1.5", "nothing", "the method and ratio of each lossy step");
            }
        }

        if (dataSet[Tags.LossyImageCompressionMethod] is { IsEmpty: false } methods
            && dataSet[Tags.LossyImageCompressionRatio] is { IsEmpty: false } ratios
            && ElementText.Count(methods) != ElementText.Count(ratios))
        {
            findings.Add(
                Severity.Error, "lossy.steps", null, "LossyImageCompressionRatio", "PS3.3 C.7.6.1.1.5", $"{ElementText.Count(ratios)} values",
                $"as many as methods, {ElementText.Count(methods)}");
        }
    }

    // PS3.3 section C.8.12.1: Image Laterality agrees with Laterality and with the modifier of the anatomic region (CID 244).
    private static void CheckSides(DataSet dataSet, FindingList findings)
    {
        string? image = ElementText.First(dataSet[Tags.ImageLaterality]);
        string? series = ElementText.First(dataSet[Tags.Laterality]);
        if (image is not null && series is not null && image != series)
        {
            findings.Add(Severity.Error, "side.series", null, "ImageLaterality", "PS3.3 C.7.6.1", image, $"that of the series, {series}");
        }

        if ((image ?? series) is not { } side || dataSet[Tags.AnatomicRegionSequence]?.Items is not [var region, ..])
        {
            return;
        }

        foreach (DataSet modifier in region[Tags.AnatomicRegionModifierSequence]?.Items ?? [])
        {
            string? told = ElementText.First(modifier[Tags.CodeValue]) switch
            {
                "24028007" => "R",
                "7771000" => "L",
                "51440002" => "B",
                "66459002" => "U",
                _ => null,
            };
            if (told is not null && told != side)
            {
                findings.Add(Severity.Error, "side.region", null, "AnatomicRegionSequence", "PS3.3 C.8.12.1", $"a modifier of side {told}", $"that of the image, {side}");
            }
        }
    }

    // PS3.3 section C.7.6.1.1.1: for a patient that stands on two feet, one to three letters of A P R L H F each, never two of one axis; the
    // direction of the columns runs along another axis than that of the rows.
    private static void CheckOrientation(DataSet dataSet, FindingList findings)
    {
        if (dataSet[Tags.PatientOrientation] is not { IsEmpty: false } orientation || ElementText.First(dataSet[Tags.AnatomicalOrientationType]) == "QUADRUPED")
        {
            return;
        }

        IReadOnlyList<string> values = ElementText.Values(orientation);
        for (int i = 0; i < values.Count; i++)
        {
            if (!IsDirection(values[i]))
            {
                findings.Add(Severity.Error, "orientation.value", null, "PatientOrientation", "PS3.3 C.7.6.1.1.1", $"value {i + 1} is \"{values[i]}\"", "letters of A P R L H F, at most one for each axis");
            }
        }

        if (values is [{ Length: > 0 } rows, { Length: > 0 } columns] && Axis(rows[0]) == Axis(columns[0]) && Axis(rows[0]) >= 0)
        {
            findings.Add(Severity.Error, "orientation.axis", null, "PatientOrientation", "PS3.3 C.7.6.1.1.1", $"rows towards \"{rows}\" and columns towards \"{columns}\"", "two directions that stand upright on each other");
        }
    }

    // PS3.3 section C.8.17.2.1.1, from memory and as dciodvfy has it: of an ophthalmic photograph value 3 tells how it was derived, so that an original has none.
    private static void CheckImageType(DataSet dataSet, FindingList findings)
    {
        if (ElementText.First(dataSet[Tags.SOPClassUID]) != SopClasses.OphthalmicPhotography8BitImageStorage || dataSet[Tags.ImageType] is not { IsEmpty: false } type)
        {
            return;
        }

        IReadOnlyList<string> values = ElementText.Values(type);
        bool tells = values is [_, _, { Length: > 0 }, ..];
        if (tells != (values[0] == "DERIVED"))
        {
            findings.Add(
                Severity.Error, "type.derivation", null, "ImageType", "PS3.3 C.8.17.2.1.1", tells ? $"value 3 where value 1 is \"{values[0]}\"" : "DERIVED without value 3",
                "value 3 of derived images, such as MONTAGE, and of no other");
        }
    }

    private static bool IsDirection(string value)
    {
        int axes = 0;
        foreach (char letter in value)
        {
            int axis = Axis(letter);
            if (axis < 0 || (axes & (1 << axis)) != 0)
            {
                return false;
            }

            axes |= 1 << axis;
        }

        return true;
    }

    private static int Axis(char letter) => letter switch
    {
        'A' or 'P' => 0,
        'R' or 'L' => 1,
        'H' or 'F' => 2,
        _ => -1,
    };
}
