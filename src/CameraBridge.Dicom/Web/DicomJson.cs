using System.Buffers;
using System.Text.Encodings.Web;
using System.Text.Json;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Web;

/// <summary>
/// The DICOM JSON model (PS3.18 Annex F, edition 2025e). Text is UTF-8; numbers are JSON numbers, DS and IS too; bytes are base64 or a URI. Strict
/// in what is written, tolerant in what is read: numbers as text, text as numbers, names as plain text and missing representations are understood.
/// </summary>
public static class DicomJson
{
    // Quotes and line ends are escaped as JSON demands; letters of other scripts are not, so that people can read a log of it.
    private static readonly JsonWriterOptions Options = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping };

    /// <summary>Writes a data set as one JSON object. Group lengths are left out (PS3.18 section F.2.2).</summary>
    /// <param name="writer">Where to.</param>
    /// <param name="dataSet">What; a Specific Character Set in it is written as ISO_IR 192, which is what the JSON is in.</param>
    /// <param name="bulkDataUri">
    /// Gives the URI of an element's bytes, or null to write them as base64. Asked for OB, OD, OF, OL, OV, OW, UN and for pixels, with the element alone.
    /// </param>
    /// <exception cref="ArgumentException">Encapsulated pixels for which there is no URI; the model has no inline form for fragments.</exception>
    /// <exception cref="IOException">Pixels of a file could not be read.</exception>
    public static void Write(Utf8JsonWriter writer, DataSet dataSet, Func<Element, string?>? bulkDataUri = null)
    {
        ArgumentNullException.ThrowIfNull(writer);
        ArgumentNullException.ThrowIfNull(dataSet);
        new DicomJsonWriter(writer, bulkDataUri).Write(dataSet);
    }

    /// <summary>One JSON object in UTF-8.</summary>
    /// <exception cref="ArgumentException">As with the other overload.</exception>
    public static byte[] Write(DataSet dataSet, Func<Element, string?>? bulkDataUri = null)
    {
        var buffer = new ArrayBufferWriter<byte>();
        using (var writer = new Utf8JsonWriter(buffer, Options))
        {
            Write(writer, dataSet, bulkDataUri);
        }

        return buffer.WrittenSpan.ToArray();
    }

    /// <summary>A JSON array in UTF-8, the form of metadata and of query answers.</summary>
    /// <exception cref="ArgumentException">As with the other overloads.</exception>
    public static byte[] WriteArray(IEnumerable<DataSet> dataSets, Func<Element, string?>? bulkDataUri = null)
    {
        ArgumentNullException.ThrowIfNull(dataSets);
        var buffer = new ArrayBufferWriter<byte>();
        using (var writer = new Utf8JsonWriter(buffer, Options))
        {
            writer.WriteStartArray();
            foreach (DataSet dataSet in dataSets)
            {
                Write(writer, dataSet, bulkDataUri);
            }

            writer.WriteEndArray();
        }

        return buffer.WrittenSpan.ToArray();
    }

    /// <summary>Reads one JSON object.</summary>
    /// <param name="json">The object.</param>
    /// <param name="bulkData">Gives the bytes behind a BulkDataURI; without it, or when it gives null, the element stays empty and a finding says so.</param>
    /// <param name="limits">What it may cost; the default when null.</param>
    /// <param name="findings">Takes what was forgiven, a hundred at most; positions are 0.</param>
    /// <exception cref="MalformedException">It is no data set of the model.</exception>
    public static DataSet Read(
        JsonElement json,
        Func<Tag, Vr, string, PixelSource?>? bulkData = null,
        ReadLimits? limits = null,
        ICollection<ReadFinding>? findings = null) =>
        new DicomJsonReader(bulkData, limits ?? ReadLimits.Default, findings).ReadDataSet(json);

    /// <summary>Reads a JSON text: an array of data sets, or a single one.</summary>
    /// <param name="utf8">The text; how long it may be is for the caller to limit.</param>
    /// <param name="bulkData">As with <see cref="Read"/>.</param>
    /// <param name="limits">What it may cost; the default when null.</param>
    /// <param name="findings">As with <see cref="Read"/>.</param>
    /// <exception cref="MalformedException">It is no JSON, or no data set of the model.</exception>
    public static IReadOnlyList<DataSet> ReadArray(
        ReadOnlyMemory<byte> utf8,
        Func<Tag, Vr, string, PixelSource?>? bulkData = null,
        ReadLimits? limits = null,
        ICollection<ReadFinding>? findings = null)
    {
        // A level of sequences is three of JSON: the item, its attribute, the array of its values.
        const int LevelsPerSequence = 3;
        limits ??= ReadLimits.Default;
        try
        {
            using var document = JsonDocument.Parse(utf8, new JsonDocumentOptions { MaxDepth = (limits.MaxDepth + 2) * LevelsPerSequence });
            JsonElement root = document.RootElement;
            var reader = new DicomJsonReader(bulkData, limits, findings);
            return root.ValueKind == JsonValueKind.Array ? [.. root.EnumerateArray().Select(reader.ReadDataSet)] : [reader.ReadDataSet(root)];
        }
        catch (JsonException broken)
        {
            throw new MalformedException(0, "", "the text is no JSON, or nested too deep (RFC 8259)", broken);
        }
    }
}
