using CameraBridge.Pipeline.Captures;

namespace CameraBridge.Persistence;

/// <summary>
/// Tells spools apart where several workers share a state: a file in the spool's folder that holds a random id. Workers that mount the same folder see the same
/// id, whatever they call the folder; a spool that is moved or mounted elsewhere keeps it.
/// </summary>
internal sealed class SpoolIdentity(string folder)
{
    private const string FileName = "spool-id";

    private readonly Lock _gate = new();
    private string? _id;

    public string Folder { get; } = Path.GetFullPath(folder);

    /// <summary>The id, made where the spool has none yet.</summary>
    /// <exception cref="StateUnavailableException">The folder cannot be read or written.</exception>
    public string Get()
    {
        lock (_gate)
        {
            try
            {
                return _id ??= Read() ?? Make();
            }
            catch (Exception error) when (error is IOException or UnauthorizedAccessException)
            {
                throw new StateUnavailableException(
                    $"The spool folder {Folder} does not tell which spool it is, so no work on its pictures is taken: mount it, or let the service's user read and write it; the work goes on by itself. ({error.Message.TrimEnd('.')})",
                    error);
            }
        }
    }

    /// <summary>The id; null when the spool has none or cannot be read. Makes nothing.</summary>
    public string? TryGet()
    {
        lock (_gate)
        {
            try
            {
                return _id ??= Read();
            }
            catch (Exception error) when (error is IOException or UnauthorizedAccessException)
            {
                return null;
            }
        }
    }

    private string? Read()
    {
        string path = Path.Combine(Folder, FileName);
        string text = File.Exists(path) ? File.ReadAllText(path).Trim() : "";
        return text.Length == 0 ? null
            : Guid.TryParseExact(text, "N", out _) ? text
            : throw new IOException($"{path} holds no id");
    }

    private string Make()
    {
        Spool.MakeFolder(Folder);
        string made = Path.Combine(Folder, $".{FileName}-{Guid.NewGuid():N}");
        using (FileStream file = new(made, FileMode.CreateNew, FileAccess.Write))
        {
            file.Write(System.Text.Encoding.ASCII.GetBytes(Guid.NewGuid().ToString("N")));
            file.Flush(flushToDisk: true);
        }

        try
        {
            File.Move(made, Path.Combine(Folder, FileName), overwrite: false);
        }
        catch (IOException) when (File.Exists(Path.Combine(Folder, FileName)))
        {
            // Another worker on the same folder was first.
            File.Delete(made);
        }

        FolderSync.Sync(Folder);
        return Read() ?? throw new IOException($"{Path.Combine(Folder, FileName)} went away");
    }
}
