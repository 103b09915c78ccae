using System.Globalization;
using System.Text.Json;

namespace CameraBridge.Commands.Cards;

/// <summary>What is printed on cards, in one language: the resource texts/LANGUAGE.json. A language more is a file more.</summary>
internal sealed class CardTexts
{
    private const string Before = "CameraBridge.Commands.Cards.texts.", After = ".json";

    private readonly Dictionary<string, string> _texts;

    private CardTexts(string language, Dictionary<string, string> texts)
    {
        Language = language;
        _texts = texts;
    }

    /// <summary>Two letters of ISO 639.</summary>
    public string Language { get; }

    /// <summary>The languages that the program has, in the order of the alphabet.</summary>
    public static IReadOnlyList<string> Languages { get; } =
    [
        .. typeof(CardTexts).Assembly.GetManifestResourceNames().Where(name => name.StartsWith(Before, StringComparison.Ordinal))
            .Select(name => name[Before.Length..^After.Length]).Order(StringComparer.Ordinal),
    ];

    public IReadOnlyCollection<string> Keys => _texts.Keys;

    /// <summary>The text under a key.</summary>
    /// <exception cref="KeyNotFoundException">There is none; a test holds that every language has every key.</exception>
    public string this[string key] => _texts[key];

    /// <summary>The texts of one of <see cref="Languages"/>.</summary>
    public static CardTexts Of(string language)
    {
        using Stream stream = typeof(CardTexts).Assembly.GetManifestResourceStream(Before + language + After)!;
        return new CardTexts(language, JsonSerializer.Deserialize<Dictionary<string, string>>(stream)!);
    }

    public string? Find(string key) => _texts.GetValueOrDefault(key);

    /// <summary>The text with a value in its place.</summary>
    public string With(string key, object value) => string.Format(CultureInfo.InvariantCulture, _texts[key], value);
}
