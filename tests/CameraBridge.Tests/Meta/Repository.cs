using System.Runtime.CompilerServices;

namespace CameraBridge.Tests.Meta;

/// <summary>The checkout that these tests were built from.</summary>
internal static class Repository
{
    public static string Root { get; } = FindRoot();

    /// <summary>The hand-written C# files below a folder of the repository.</summary>
    public static IEnumerable<string> SourceFiles(string folder) =>
        Directory.EnumerateFiles(Path.Combine(Root, folder), "*.cs", SearchOption.AllDirectories)
            .Where(path => !path.Contains("/bin/", StringComparison.Ordinal) && !path.Contains("/obj/", StringComparison.Ordinal));

    public static string NameOf(string path) => Path.GetRelativePath(Root, path);

    private static string FindRoot([CallerFilePath] string here = "")
    {
        DirectoryInfo? folder = new(Path.GetDirectoryName(here)!);
        while (folder is not null && !File.Exists(Path.Combine(folder.FullName, "CameraBridge.sln")))
        {
            folder = folder.Parent;
        }

        return folder?.FullName ?? throw new InvalidOperationException("The tests are not run from a checkout of the repository.");
    }
}
