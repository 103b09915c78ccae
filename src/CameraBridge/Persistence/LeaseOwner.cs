using System.Diagnostics;
using System.Globalization;

namespace CameraBridge.Persistence;

/// <summary>
/// Names the process that holds a lease as "host:pid:process start", so that another process on the same host can tell that it is dead and need not wait
/// for the lease to lapse. The host part also bears the boot and the process id namespace, so that neither a restart of the machine nor another
/// container with the same name makes a living process look dead.
/// </summary>
internal static class LeaseOwner
{
    /// <summary>This process.</summary>
    public static string Current { get; } = string.Create(
        CultureInfo.InvariantCulture,
        $"{Host()}:{Environment.ProcessId}:{StartOf(Environment.ProcessId) ?? "0"}");

    /// <summary>The name of the owner's machine, for people.</summary>
    public static string MachineOf(string owner) => owner.Split(':')[0].Split('/')[0];

    /// <summary>True when the owner is a process of this host that no longer runs. False also when that cannot be told from here.</summary>
    public static bool IsKnownDead(string owner)
    {
        string[] parts = owner.Split(':');
        return parts.Length == 3
            && parts[0] == Current.Split(':')[0]
            && int.TryParse(parts[1], NumberStyles.None, CultureInfo.InvariantCulture, out int id)
            && StartOf(id) != parts[2];
    }

    private static string Host()
    {
        string name = Environment.MachineName.Replace(':', '_');
        if (!OperatingSystem.IsLinux())
        {
            return name;
        }

        string boot = TryRead("/proc/sys/kernel/random/boot_id") is { Length: >= 8 } text ? text[..8] : "";
        string space = TryLink("/proc/self/ns/pid")?.Replace(':', '_') ?? "";
        return $"{name}/{boot}/{space}";
    }

    /// <summary>When a process started, as an opaque text that stays the same for its life; null when there is no such process.</summary>
    private static string? StartOf(int id)
    {
        if (OperatingSystem.IsLinux())
        {
            // /proc/PID/stat: the command in parentheses may hold anything, so count from the last ')': the 20th field after it is field 22,
            // the start in clock ticks since boot (proc(5)). A clock that is set does not change it.
            string? stat = TryRead(string.Create(CultureInfo.InvariantCulture, $"/proc/{id}/stat"));
            string[] fields = stat is null ? [] : stat[(stat.LastIndexOf(')') + 1)..].Split(' ', StringSplitOptions.RemoveEmptyEntries);

            // A zombie (state Z, the first field after the command) holds nothing any more.
            return fields.Length > 19 && fields[0] is not ("Z" or "X") ? fields[19] : null;
        }

        try
        {
            using var process = Process.GetProcessById(id);
            return process.StartTime.ToUniversalTime().Ticks.ToString(CultureInfo.InvariantCulture);
        }
        catch (Exception gone) when (gone is ArgumentException or InvalidOperationException or System.ComponentModel.Win32Exception)
        {
            return null;
        }
    }

    private static string? TryRead(string path)
    {
        try
        {
            return File.ReadAllText(path);
        }
        catch (Exception unreadable) when (unreadable is IOException or UnauthorizedAccessException)
        {
            return null;
        }
    }

    private static string? TryLink(string path)
    {
        try
        {
            return new FileInfo(path).LinkTarget;
        }
        catch (Exception unreadable) when (unreadable is IOException or UnauthorizedAccessException)
        {
            return null;
        }
    }
}
