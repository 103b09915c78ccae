using System.CommandLine;

namespace CameraBridge.Commands;

/// <summary>The name under which a person's decision is recorded.</summary>
internal static class DecidedBy
{
    private const int LongestName = 64;

    public static Option<string> Option() => new("--by") { Description = "Your name; it is recorded with the decision.", HelpName = "NAME", Required = true };

    /// <returns>The name as it is recorded.</returns>
    /// <exception cref="CommandException">It is no name of a person.</exception>
    public static string Check(string name)
    {
        name = name.Trim();
        return name.Length is > 1 and <= LongestName && !name.Any(char.IsControl) && !name.Equals("rules", StringComparison.OrdinalIgnoreCase)
            ? name
            : throw new CommandException(ExitCodes.UsageOrConfiguration, "usage", "--by needs the name of a person, 2 to 64 characters.");
    }
}
