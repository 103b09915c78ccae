using System.Globalization;
using System.Text;
using CameraBridge.Pipeline.Captures;

namespace CameraBridge.Pipeline.Releases;

/// <summary>
/// The list of kept files that is left in a folder for people, where the policy of the source is to mark. It names the files that it speaks of, so that it stays
/// true when others come: a picture that is not in the list is not known to be kept.
/// </summary>
internal static class KeptList
{
    /// <summary>Begins with <see cref="CaptureNames.MarkerPrefix"/>, which the scanner passes over.</summary>
    public const string FileName = "CAMERABRIDGE-KEPT.TXT";

    private const string Head =
        "These files are kept in every archive that they were meant for, as the archives themselves have confirmed.\r\n"
        + "A picture that is not in this list is not known to be kept: do not delete it.\r\n"
        + "Whether and when a stick may be wiped is for the policy of your hospital to say.\r\n\r\n";

    /// <summary>Adds names to the folder's list.</summary>
    /// <param name="folder">The folder, as the framework takes a path.</param>
    /// <param name="names">Names of files in it.</param>
    /// <param name="now">Date and time to write, in the zone of the site.</param>
    /// <exception cref="IOException">It cannot be written.</exception>
    /// <exception cref="UnauthorizedAccessException">It may not be written.</exception>
    public static void Add(string folder, IEnumerable<string> names, DateTimeOffset now)
    {
        string path = Path.Combine(folder, FileName);
        if (new FileInfo(path) is { Exists: true, LinkTarget: not null })
        {
            throw new IOException($"{FileName} is a link, and is not written through.");
        }

        HashSet<string> known = File.Exists(path) ? [.. File.ReadLines(path).Select(line => line.Split("  ")[^1])] : [];
        string[] added = [.. names.Where(name => !known.Contains(name)).Order(StringComparer.Ordinal)];
        if (added.Length == 0)
        {
            return;
        }

        var text = new StringBuilder(known.Count == 0 ? Head : "");
        foreach (string name in added)
        {
            text.Append(CultureInfo.InvariantCulture, $"{now:yyyy-MM-dd HH:mm}  {name}\r\n");
        }

        using var file = new FileStream(path, FileMode.Append, FileAccess.Write, FileShare.Read);
        file.Write(Encoding.UTF8.GetBytes(text.ToString()));
        file.Flush(flushToDisk: true);
    }
}
