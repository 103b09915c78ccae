using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Serialization;
using CameraBridge.Configuration;

namespace CameraBridge.Commands;

/// <summary>The one JSON document that a command with <c>--json</c> writes.</summary>
internal static class JsonReply
{
    public static readonly JsonSerializerOptions Format = new()
    {
        PropertyNamingPolicy = JsonNamingPolicy.SnakeCaseLower,
        DictionaryKeyPolicy = null,
        WriteIndented = true,
        DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingNull,
        // The reply goes to a terminal or a file, never into a web page: letters stay letters.
        Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping,
        Converters = { new JsonStringEnumConverter(JsonNamingPolicy.SnakeCaseLower) },
    };

    public static void Write(TextWriter writer, object reply) => writer.WriteLine(JsonSerializer.Serialize(reply, Format));

    public static void WriteError(TextWriter writer, int exitCode, string code, string message, IReadOnlyList<ConfigurationProblem>? problems = null) =>
        Write(writer, new { Error = new { Code = code, ExitCode = exitCode, Message = message, Problems = problems } });
}
