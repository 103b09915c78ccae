using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>An encapsulated document against the attributes that speak of it (PS3.3 section C.24.2).</summary>
internal static class DocumentRules
{
    private const string Section = "PS3.3 C.24.2";

    public static void Check(DataSet dataSet, Element document, FindingList findings)
    {
        long length = document.Pixels?.Length ?? document.Value.Length;
        if (dataSet.GetInt64(Tags.EncapsulatedDocumentLength) is { } told && told != length && told != length - 1)
        {
            findings.Add(Severity.Error, "document.length", null, "EncapsulatedDocumentLength", Section, $"{told} where the value has {length} bytes", "the bytes of the document without padding");
        }

        if (ElementText.First(dataSet[Tags.MIMETypeOfEncapsulatedDocument]) != "application/pdf" || length == 0)
        {
            return;
        }

        byte[] head = new byte[5];
        using Stream stream = document.Pixels?.OpenRead() ?? new MemoryStream(document.Value.ToArray(), writable: false);
        int read = stream.ReadAtLeast(head, head.Length, throwOnEndOfStream: false);
        if (!head.AsSpan(0, read).SequenceEqual("%PDF-"u8))
        {
            findings.Add(Severity.Error, "document.type", null, "EncapsulatedDocument", Section, "a document that does not begin as a PDF", "a PDF (ISO 32000), as its MIME type says");
        }
    }
}
