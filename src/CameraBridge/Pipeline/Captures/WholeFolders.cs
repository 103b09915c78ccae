namespace CameraBridge.Pipeline.Captures;

/// <summary>
/// Tells during one pass over a source when a folder has been taken whole, with all that lies below it: its sitting need not wait for the rest of the
/// stick. Files that are known by their content count as taken; one that was not taken keeps its folder, and those above, for the end of the pass.
/// </summary>
internal sealed class WholeFolders
{
    private readonly Dictionary<string, int> _left = new(StringComparer.Ordinal);

    /// <param name="places">All files that the pass is to take; none may be missing.</param>
    public WholeFolders(IEnumerable<string> places)
    {
        foreach (string folder in places.SelectMany(Above))
        {
            _left[folder] = _left.GetValueOrDefault(folder) + 1;
        }
    }

    /// <summary>Counts a file that was taken.</summary>
    /// <returns>The topmost folder that is whole by it, or null. The source's own folder is "" and left to the end of the pass.</returns>
    public string? Took(string place)
    {
        string? whole = null;
        foreach (string folder in Above(place))
        {
            whole = --_left[folder] == 0 ? folder : whole;
        }

        return whole;
    }

    private static IEnumerable<string> Above(string place)
    {
        for (string folder = Places.FolderOf(place); folder.Length > 0; folder = Places.FolderOf(folder))
        {
            yield return folder;
        }
    }
}
