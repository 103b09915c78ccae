using System.Collections.Immutable;
using System.Globalization;
using System.Text.Json;

namespace CameraBridge.Pipeline.Objects.Optics;

/// <summary>
/// Values of <see cref="ValueKeys"/> under their keys, each read and in its kept form. An optic has some, a sidecar, an order; what speaks for the one
/// picture lies over what speaks for all.
/// </summary>
internal sealed class OpticValues : IEquatable<OpticValues>
{
    private readonly ImmutableSortedDictionary<string, ImmutableArray<string>> values;

    private OpticValues(ImmutableSortedDictionary<string, ImmutableArray<string>> values) => this.values = values;

    public static OpticValues None { get; } = new(ImmutableSortedDictionary.Create<string, ImmutableArray<string>>(StringComparer.Ordinal));

    public IEnumerable<string> Keys => values.Keys;

    public bool IsEmpty => values.IsEmpty;

    public bool Has(string key) => values.ContainsKey(key);

    /// <summary>These with the key's values put in the place of what was there; none takes the key away.</summary>
    public OpticValues With(string key, params IEnumerable<string> these)
    {
        ImmutableArray<string> kept = [.. these];
        return new OpticValues(kept.IsEmpty ? values.Remove(key) : values.SetItem(key, kept));
    }

    /// <summary>These, and of the ones below what these do not say.</summary>
    public OpticValues Over(OpticValues below) =>
        IsEmpty ? below : below.IsEmpty ? this : new OpticValues(below.values.SetItems(values));

    /// <summary>The only value, or null.</summary>
    public string? One(string key) => values.TryGetValue(key, out ImmutableArray<string> found) ? found[0] : null;

    /// <summary>All values; empty when there is none.</summary>
    public IReadOnlyList<string> All(string key) => values.TryGetValue(key, out ImmutableArray<string> found) ? found : [];

    public decimal? Number(string key) => One(key) is { } text ? decimal.Parse(text, CultureInfo.InvariantCulture) : null;

    public Code? CodeOf(string key) => One(key) is { } text && Code.TryParse(text, out Code code) ? code : null;

    public IEnumerable<Code> CodesOf(string key)
    {
        foreach (string text in All(key))
        {
            if (Code.TryParse(text, out Code code))
            {
                yield return code;
            }
        }
    }

    public bool Equals(OpticValues? other) => other is not null && ToJson() == other.ToJson();

    public override bool Equals(object? obj) => Equals(obj as OpticValues);

    public override int GetHashCode() => string.GetHashCode(ToJson(), StringComparison.Ordinal);

    /// <summary>One line of JSON, for the state; null when there is nothing.</summary>
    public string? ToJson() => IsEmpty ? null : JsonSerializer.Serialize(values.ToDictionary(pair => pair.Key, pair => pair.Value.ToArray()));

    public static OpticValues FromJson(string? json) => json is null
        ? None
        : JsonSerializer.Deserialize<Dictionary<string, string[]>>(json)!.Aggregate(None, (all, pair) => all.With(pair.Key, pair.Value));
}
