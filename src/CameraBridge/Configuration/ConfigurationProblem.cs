using System.Globalization;

namespace CameraBridge.Configuration;

/// <summary>One thing that is wrong in the configuration, with where it is and how to put it right.</summary>
/// <param name="File">The file as it was named to us.</param>
/// <param name="Line">1-based; 0 when the file itself is the matter.</param>
/// <param name="Column">1-based; 0 when the file itself is the matter.</param>
/// <param name="Key">Path of the setting, for example <c>sources[2].folder</c>; empty for the file as a whole.</param>
/// <param name="Value">The value as written, or empty.</param>
/// <param name="What">What is wrong, in words, without a full stop.</param>
/// <param name="Fix">The next step, a sentence.</param>
internal sealed record ConfigurationProblem(string File, int Line, int Column, string Key, string Value, string What, string Fix)
{
    /// <summary><c>file:line:column: key: value: what is wrong. fix</c>, parts that are empty left out.</summary>
    public override string ToString()
    {
        string place = Line > 0 ? string.Create(CultureInfo.InvariantCulture, $"{File}:{Line}:{Column}") : File;
        string[] parts = [.. new[] { place, Key, Value }.Where(part => part.Length > 0)];
        return $"{string.Join(": ", parts)}: {What}. {Fix}";
    }
}

/// <summary>The configuration cannot be used; every problem of the file is in it.</summary>
internal sealed class ConfigurationException(IReadOnlyList<ConfigurationProblem> problems)
    : Exception(string.Join(Environment.NewLine, problems))
{
    public IReadOnlyList<ConfigurationProblem> Problems { get; } = problems;
}

/// <summary>A setting as it is in force: where it stands in the file, or that it is the default.</summary>
/// <param name="Key">Path of the setting.</param>
/// <param name="Value">The value in force, as it would be written; empty for none.</param>
/// <param name="Line">The line of the file, or null: the built-in default.</param>
internal sealed record EffectiveSetting(string Key, string Value, int? Line);
