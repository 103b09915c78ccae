using System.Buffers;
using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;

namespace CameraBridge.Pipeline.Matches;

/// <summary>What the worklist answered to one question.</summary>
internal sealed record WorklistAnswers(WorklistQuestion Question, IReadOnlyList<WorklistStep> Steps)
{
    /// <summary>Name of the worklist that was asked.</summary>
    public string? Worklist { get; init; }

    /// <summary>More answers were there than the limit allows, and the query was ended early.</summary>
    public bool CutOff { get; init; }

    /// <summary>The worklist could not be asked, or said that it failed; null when it answered to the end.</summary>
    public Reason? Failure { get; init; }

    /// <summary>Answers that came.</summary>
    public int Total { get; init; }

    /// <summary>At least one answer came with FF01: the worklist did not look at some keys (PS3.4 Table K.4-1).</summary>
    public bool KeysNotSupported { get; init; }

    /// <summary>Status of the last response, or null when none came.</summary>
    public ushort? Status { get; init; }

    public DateTimeOffset AskedAt { get; init; }
}

/// <summary>
/// What was asked and answered, as it is kept with a sitting: a JSON object with the worklists' names and, for each question, the worklist that was asked, the query and its
/// answers as DICOM JSON (PS3.18 Annex F).
/// </summary>
internal static class Inquiry
{
    /// <summary>Answers kept of a question, best first; the number of all is kept too.</summary>
    public const int MostAnswers = 50;

    /// <summary>Patient ID (0010,0020) and Accession Number (0008,0050), as DICOM JSON names them.</summary>
    private static readonly string[] NamingKeys = ["00100020", "00080050"];

    private static readonly JsonWriterOptions Options = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping };

    /// <summary>Writes the document.</summary>
    /// <param name="worklist">Name of the worklists.</param>
    /// <param name="answers">Questions with their answers.</param>
    /// <param name="ranking">All steps, best first.</param>
    public static string Write(string worklist, IReadOnlyList<WorklistAnswers> answers, IReadOnlyList<WorklistStep> ranking)
    {
        var rank = new Dictionary<(string?, string?, string?, string?, string?), int>();
        foreach (WorklistStep step in ranking.SelectMany(step => step.Twins.Prepend(step)))
        {
            rank.TryAdd(step.Key, rank.Count);
        }

        var buffer = new ArrayBufferWriter<byte>();
        using (var writer = new Utf8JsonWriter(buffer, Options))
        {
            writer.WriteStartObject();
            writer.WriteString("worklist", worklist);
            writer.WriteStartArray("questions");
            foreach (WorklistAnswers answer in answers)
            {
                WriteAnswers(writer, answer, rank);
            }

            writer.WriteEndArray();
            writer.WriteEndObject();
        }

        return Encoding.UTF8.GetString(buffer.WrittenSpan);
    }

    /// <summary>The steps that were kept, each once.</summary>
    /// <returns>Empty for a document that is none of ours.</returns>
    public static IReadOnlyList<WorklistStep> ReadSteps(string? inquiry) => Read(inquiry, broadOnly: false);

    /// <summary>The steps that answered a question by station and day, which does not look for one patient's.</summary>
    /// <returns>Empty where there was no such question, or it was cut off.</returns>
    public static IReadOnlyList<WorklistStep> ReadBroad(string inquiry) => Read(inquiry, broadOnly: true);

    private static IReadOnlyList<WorklistStep> Read(string? inquiry, bool broadOnly)
    {
        if (inquiry is null)
        {
            return [];
        }

        try
        {
            using JsonDocument document = JsonDocument.Parse(inquiry, new JsonDocumentOptions { MaxDepth = 128 });
            return StepUnion.Of([.. document.RootElement.GetProperty("questions").EnumerateArray().Where(question => !broadOnly || IsBroad(question)).Select(AnswersOf)]);
        }
        catch (Exception foreign) when (foreign is JsonException or KeyNotFoundException or InvalidOperationException or MalformedException)
        {
            return [];
        }
    }

    /// <summary>The steps that were answered to one question; the question itself is for people and not read back.</summary>
    private static WorklistAnswers AnswersOf(JsonElement question)
    {
        string? worklist = question.TryGetProperty("worklist", out JsonElement name) ? name.GetString() : null;
        IEnumerable<WorklistStep> steps = question.GetProperty("answers").EnumerateArray().Select(WorklistStep.FromJson);
        return new WorklistAnswers(new WorklistQuestion(), [.. steps.Select(step => worklist is null ? step : step.From(worklist))]);
    }

    /// <summary>No patient, order or step was named in the query (DICOM JSON: a key without a value is asked for, not matched), and all that answered was kept.</summary>
    private static bool IsBroad(JsonElement question)
    {
        JsonElement query = question.GetProperty("query");
        bool names = NamingKeys.Any(tag => query.TryGetProperty(tag, out JsonElement key) && key.TryGetProperty("Value", out _))
            || (query.TryGetProperty("00400100", out JsonElement steps) && steps.TryGetProperty("Value", out JsonElement items)
                && items.EnumerateArray().Any(item => item.TryGetProperty("00400009", out JsonElement id) && id.TryGetProperty("Value", out _)));
        return !names && !question.GetProperty("cut_off").GetBoolean() && question.GetProperty("answers_total").GetInt32() <= MostAnswers;
    }

    private static void WriteAnswers(Utf8JsonWriter writer, WorklistAnswers answer, Dictionary<(string?, string?, string?, string?, string?), int> rank)
    {
        writer.WriteStartObject();
        if (answer.Worklist is { } worklist)
        {
            writer.WriteString("worklist", worklist);
        }

        writer.WriteString("asked_at", answer.AskedAt.UtcDateTime);
        if (answer.Status is { } status)
        {
            writer.WriteString("status", status.ToString("X4", System.Globalization.CultureInfo.InvariantCulture));
        }

        if (answer.Failure is { } failure)
        {
            writer.WriteString("failure", failure.Words);
        }

        writer.WriteBoolean("cut_off", answer.CutOff);
        writer.WriteBoolean("keys_not_supported", answer.KeysNotSupported);
        writer.WriteNumber("answers_total", answer.Total);
        writer.WritePropertyName("query");
        DicomJson.Write(writer, answer.Question.ToIdentifier());
        writer.WriteStartArray("answers");
        foreach (WorklistStep step in answer.Steps.OrderBy(step => rank.GetValueOrDefault(step.Key, int.MaxValue)).Take(MostAnswers))
        {
            DicomJson.Write(writer, step.Item);
        }

        writer.WriteEndArray();
        writer.WriteEndObject();
    }
}
