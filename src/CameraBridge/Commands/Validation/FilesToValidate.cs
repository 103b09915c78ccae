namespace CameraBridge.Commands.Validation;

/// <summary>From what was typed to the files that are checked.</summary>
internal static class FilesToValidate
{
    /// <summary>Files as they were named, then those of folders in the order of their names. A DICOMDIR in a folder is an index, no object, and is left out.</summary>
    /// <exception cref="CommandException">A place does not exist or cannot be read, or there is no file at all.</exception>
    public static IReadOnlyList<string> Find(IEnumerable<string> places)
    {
        var files = new List<string>();
        foreach (string place in places)
        {
            if (File.Exists(place))
            {
                files.Add(place);
            }
            else if (Directory.Exists(place))
            {
                files.AddRange(Below(place));
            }
            else
            {
                throw new CommandException(ExitCodes.UsageOrConfiguration, "no_such_file", $"There is no file or folder {place}.");
            }
        }

        return files.Count > 0
            ? files
            : throw new CommandException(ExitCodes.UsageOrConfiguration, "no_files", "There is no file in what was named.");
    }

    private static IEnumerable<string> Below(string folder)
    {
        try
        {
            return [.. Directory.EnumerateFiles(folder, "*", SearchOption.AllDirectories)
                .Where(file => !Path.GetFileName(file).Equals("DICOMDIR", StringComparison.OrdinalIgnoreCase))
                .Order(StringComparer.Ordinal)];
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            throw new CommandException(ExitCodes.UsageOrConfiguration, "folder", $"The folder {folder} cannot be read to its end ({error.GetType().Name}).");
        }
    }
}
