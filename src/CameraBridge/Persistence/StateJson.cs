using System.Text.Json;
using System.Text.Json.Serialization;
using CameraBridge.Pipeline;

namespace CameraBridge.Persistence;

/// <summary>The lists that the state keeps as JSON text in a column: read as a whole, never searched.</summary>
[JsonSourceGenerationOptions(PropertyNamingPolicy = JsonKnownNamingPolicy.SnakeCaseLower, DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingNull)]
[JsonSerializable(typeof(IReadOnlyList<Reason>))]
[JsonSerializable(typeof(IReadOnlyList<Proposal>))]
[JsonSerializable(typeof(CameraClock))]
internal sealed partial class StateJson : JsonSerializerContext
{
    public static string Write(IReadOnlyList<Reason> reasons) => JsonSerializer.Serialize(reasons, Default.IReadOnlyListReason);

    public static string Write(IReadOnlyList<Proposal> proposals) => JsonSerializer.Serialize(proposals, Default.IReadOnlyListProposal);

    public static string Write(CameraClock clock) => JsonSerializer.Serialize(clock, Default.CameraClock);

    public static CameraClock ReadClock(string text) => JsonSerializer.Deserialize(text, Default.CameraClock) ?? Pipeline.CameraClock.Unknown;

    public static IReadOnlyList<Reason> ReadReasons(string text) => JsonSerializer.Deserialize(text, Default.IReadOnlyListReason) ?? [];

    public static IReadOnlyList<Proposal> ReadProposals(string text) => JsonSerializer.Deserialize(text, Default.IReadOnlyListProposal) ?? [];
}
