using System.Buffers.Binary;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Iods;

/// <summary>The file meta information (PS3.10 section 7.1, Table 7.1-1, edition 2025e), alone and against the data set.</summary>
internal static class MetaRules
{
    private const string Section = "PS3.10 7.1";

    // Type 1 of Table 7.1-1.
    private static readonly (Tag Tag, string Keyword)[] Mandatory =
    [
        (Tags.FileMetaInformationGroupLength, "FileMetaInformationGroupLength"),
        (Tags.FileMetaInformationVersion, "FileMetaInformationVersion"),
        (Tags.MediaStorageSOPClassUID, "MediaStorageSOPClassUID"),
        (Tags.MediaStorageSOPInstanceUID, "MediaStorageSOPInstanceUID"),
        (Tags.TransferSyntaxUID, "TransferSyntaxUID"),
        (Tags.ImplementationClassUID, "ImplementationClassUID"),
    ];

    public static void Check(Part10File file, FindingList findings)
    {
        DataSet meta = file.MetaElements;
        if (meta.Count == 0)
        {
            findings.Add(Severity.Error, "meta.missing", null, "FileMetaInformation", Section, "nothing", "the file meta information");
            return;
        }

        foreach ((Tag tag, string keyword) in Mandatory)
        {
            if (meta[tag] is not { IsEmpty: false })
            {
                findings.Add(Severity.Error, "meta.type1", null, keyword, Section, meta.Contains(tag) ? "it is empty" : "it is absent", "present with a value");
            }
        }

        CheckVersion(meta, findings);
        CheckPair(file, Tags.MediaStorageSOPClassUID, "MediaStorageSOPClassUID", Tags.SOPClassUID, "SOP Class UID", findings);
        CheckPair(file, Tags.MediaStorageSOPInstanceUID, "MediaStorageSOPInstanceUID", Tags.SOPInstanceUID, "SOP Instance UID", findings);
        if (file.Meta.TransferSyntaxUID is { Length: > 0 } syntax && TransferSyntax.Find(syntax) is null)
        {
            findings.Add(Severity.Error, "meta.syntax", null, "TransferSyntaxUID", Section, $"\"{Shown(syntax)}\"", "a transfer syntax of PS3.6 Annex A that encodes files");
        }

        foreach (Element element in meta)
        {
            if (TagDictionary.Find(element.Tag) is not { } entry)
            {
                findings.Add(Severity.Error, "meta.foreign", null, element.Tag.ToString(), Section, "an element that group 0002 does not have", "its absence");
            }
            else
            {
                CheckForm(meta, element, entry, findings);
            }
        }

        // Group 0002 stands in the file meta information alone.
        foreach (Element element in file.DataSet)
        {
            if (element.Tag.Group <= 0x0002)
            {
                findings.Add(Severity.Error, "meta.group", null, element.Tag.ToString(), Section, "an element of group 0000 or 0002 in the data set", "its absence");
            }
        }
    }

    private static void CheckVersion(DataSet meta, FindingList findings)
    {
        if (meta[Tags.FileMetaInformationVersion] is { IsEmpty: false } version && !version.Value.Span.SequenceEqual("\0\x01"u8))
        {
            findings.Add(
                Severity.Error, "meta.version", null, "FileMetaInformationVersion", Section, Convert.ToHexString(version.Value.Span[..Math.Min(8, version.Value.Length)]), "00 01");
        }

        if (meta[Tags.FileMetaInformationGroupLength] is { Value.Length: sizeof(uint) } length)
        {
            var others = new DataSet();
            foreach (Element element in meta)
            {
                if (!element.Tag.IsGroupLength)
                {
                    others.Put(element);
                }
            }

            long right = ElementWriter.Encode(others, TransferSyntax.ExplicitLittleEndian).Length;
            uint said = BinaryPrimitives.ReadUInt32LittleEndian(length.Value.Span);
            if (said != right)
            {
                findings.Add(Severity.Error, "meta.length", null, "FileMetaInformationGroupLength", Section, $"{said}", $"{right}, the bytes behind it");
            }
        }
    }

    private static void CheckPair(Part10File file, Tag tag, string keyword, Tag other, string otherName, FindingList findings)
    {
        string? inMeta = ElementText.First(file.MetaElements[tag]);
        string? inDataSet = ElementText.First(file.DataSet[other]);
        if (inMeta is not null && inDataSet is not null && inMeta != inDataSet)
        {
            findings.Add(Severity.Error, "meta.differs", null, keyword, Section, "another UID than the data set has", $"the {otherName} of the data set");
        }
    }

    private static void CheckForm(DataSet meta, Element element, TagEntry entry, FindingList findings)
    {
        if (!entry.Vrs.Contains(element.Vr))
        {
            findings.Add(Severity.Error, "vr", null, entry.Keyword, Section, element.Vr.ToString(), string.Join(" or ", entry.Vrs));
        }
        else if (element.Vr.IsText() && meta.GetStrings(element.Tag).Select(value => ValueRules.Flaw(element.Vr, value)).FirstOrDefault(flaw => flaw is not null) is { } rule)
        {
            findings.Add(Severity.Error, "value.form", null, entry.Keyword, Section, "a value against the rule", rule);
        }
    }

    /// <summary>A UID that cannot be one is not repeated.</summary>
    private static string Shown(string uid) => Uids.IsValid(uid) ? uid : "no valid UID";
}
