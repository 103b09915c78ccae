using System.Globalization;
using System.Text.RegularExpressions;

namespace CameraBridge.Configuration;

/// <summary>The kinds of value a setting can have, in the words of <see cref="SettingValues"/>.</summary>
internal static class SettingReaderValues
{
    public static string? Text(this SettingReader reader, string key, int longest = 64, string? fallback = null) =>
        reader.Get(key, fallback, (string text, out string? value) => PlainText(value = text, longest), value => value ?? "");

    public static string NeedText(this SettingReader reader, string key, string why, Func<string, ValueFault?> check) =>
        reader.Need(key, "", why, (string text, out string value) => check(value = text), value => value);

    public static string? AETitle(this SettingReader reader, string key, string? fallback = null) =>
        reader.Get(key, fallback, (string text, out string? value) => SettingValues.AETitle(value = text.Trim(' ')), value => value ?? "");

    public static TimeSpan Duration(this SettingReader reader, string key, TimeSpan fallback, TimeSpan least, TimeSpan most) =>
        reader.Get(key, fallback, (string text, out TimeSpan value) => SettingValues.Duration(text, least, most, out value), SettingValues.WriteDuration);

    public static int Number(this SettingReader reader, string key, int fallback, int least, int most) =>
        reader.Get(key, fallback, (string text, out int value) => SettingValues.Number(text, least, most, out value), Digits);

    public static bool Flag(this SettingReader reader, string key, bool fallback) =>
        reader.Get(key, fallback, SettingValues.Flag, value => value ? "yes" : "no");

    public static TimeZoneInfo? Zone(this SettingReader reader, string key, TimeZoneInfo? fallback) =>
        reader.Get(key, fallback, (string text, out TimeZoneInfo? zone) => SettingValues.Zone(text, out zone), zone => zone?.Id ?? "");

    public static int NeedPort(this SettingReader reader, string why) =>
        reader.Need("port", 0, why, (string text, out int port) => SettingValues.Number(text, 1, 65535, out port), Digits);

    public static Regex? NeedPattern(this SettingReader reader, string key, string why) =>
        reader.Need(key, null, why, (string text, out Regex? expression) => SettingValues.Pattern(text, out expression), expression => expression?.ToString() ?? "");

    /// <summary>One of the words of an enumeration, written in lower case.</summary>
    public static T Choice<T>(this SettingReader reader, string key, T fallback)
        where T : struct, Enum =>
        reader.Get(key, fallback, (string text, out T value) => Word(text, out value), value => Word(value));

    /// <summary>The value of an enumeration that this word stands for.</summary>
    public static ValueFault? Word<T>(string text, out T value)
        where T : struct, Enum
    {
        string[] words = [.. Enum.GetValues<T>().Select(Word)];
        int index = Array.IndexOf(words, text);
        value = index < 0 ? default : Enum.GetValues<T>()[index];
        return index < 0 ? new ValueFault("is none of the choices", $"Write one of {string.Join(", ", words)}.") : null;
    }

    /// <summary>The word that stands for a value of an enumeration.</summary>
    public static string Word<T>(T value)
        where T : struct, Enum => value.ToString().ToLowerInvariant();

    private static ValueFault? PlainText(string text, int longest) =>
        text.Any(char.IsControl) ? new ValueFault("holds a control character", "Write it on one line.")
        : text.Contains('\\', StringComparison.Ordinal) ? new ValueFault("holds a backslash, which separates values in DICOM", "Write it without.")
        : text.Length > longest ? new ValueFault(string.Create(CultureInfo.InvariantCulture, $"is {text.Length} characters long"), string.Create(CultureInfo.InvariantCulture, $"DICOM allows {longest} here."))
        : null;

    private static string Digits(int value) => value.ToString(CultureInfo.InvariantCulture);
}
