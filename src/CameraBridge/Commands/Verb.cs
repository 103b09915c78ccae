using System.CommandLine;

namespace CameraBridge.Commands;

/// <summary>A command with the exit codes it may end with.</summary>
/// <param name="name">As it is typed.</param>
/// <param name="description">One or two sentences for the help.</param>
/// <param name="codes">Beside <see cref="ExitCodes.AllWell"/> and <see cref="ExitCodes.Bug"/>, which every command has.</param>
internal sealed class Verb(string name, string description, params int[] codes) : Command(name, description)
{
    public IReadOnlyList<int> Codes { get; } = [ExitCodes.AllWell, .. codes, ExitCodes.Bug];
}

/// <summary>Options that several commands have.</summary>
internal static class CommonOptions
{
    public static Option<string?> Config() => new("--config")
    {
        Description = "The configuration file; else that of CAMERABRIDGE_CONFIG, else /etc/camerabridge/camerabridge.yaml.",
        HelpName = "FILE",
    };

    public static Option<bool> Json { get; } = new("--json")
    {
        Description = "One JSON document on standard output, errors too.",
        Recursive = true,
    };
}
