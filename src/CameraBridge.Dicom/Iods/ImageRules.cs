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
        CheckBits(dataSet, findings);
        CheckLossy(dataSet, syntax, findings);
        CheckSides(dataSet, findings);
    }

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
        bool isLossySyntax = syntax.Uid is TransferSyntaxes.JPEGBaseline8Bit or TransferSyntaxes.JPEGExtended12Bit
            || syntax.Uid.StartsWith("1.2.840.10008.1.2.4.10", StringComparison.Ordinal);
        if (isLossySyntax && lossy != "01")
        {
            findings.Add(Severity.Error, "lossy.said", null, "LossyImageCompression", "PS3.3 C.7.6.1.1.5", lossy ?? "nothing", "01 in a lossy transfer syntax");
        }

        if (lossy != "01")
        {
            return;
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
}
