using System.Diagnostics;

namespace CameraBridge.Tests.Persistence;

/// <summary>A tmpfs of a few megabytes, for what happens when a disk is full. Needs the rights of root.</summary>
internal sealed class SmallDisk : IDisposable
{
    private readonly string _folder;

    private SmallDisk(string folder) => _folder = folder;

    /// <returns>Null when this user may not mount.</returns>
    public static SmallDisk? TryMount(string folder, string size)
    {
        Directory.CreateDirectory(folder);
        return OperatingSystem.IsLinux() && Run("mount", "-t", "tmpfs", "-o", $"size={size}", "tmpfs", folder) ? new SmallDisk(folder) : null;
    }

    /// <summary>Gives it another size, as "4m".</summary>
    public bool TryResize(string size) => Run("mount", "-o", $"remount,size={size}", _folder);

    /// <returns>False while somebody has a file open for writing.</returns>
    public bool TryMakeReadOnly() => Run("mount", "-o", "remount,ro", _folder);

    public bool TryMakeWritable() => Run("mount", "-o", "remount,rw", _folder);

    public void Dispose() => Run("umount", _folder);

    private static bool Run(string program, params string[] arguments)
    {
        try
        {
            using var process = Process.Start(new ProcessStartInfo(program, arguments) { RedirectStandardError = true })!;
            process.StandardError.ReadToEnd();
            process.WaitForExit();
            return process.ExitCode == 0;
        }
        catch (System.ComponentModel.Win32Exception)
        {
            return false;
        }
    }
}
