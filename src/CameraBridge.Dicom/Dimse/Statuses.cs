using System.Globalization;

namespace CameraBridge.Dicom.Dimse;

/// <summary>Kinds of a status (PS3.7 Annex C).</summary>
public enum StatusClass
{
    /// <summary>It failed.</summary>
    Failure,

    /// <summary>It is done.</summary>
    Success,

    /// <summary>It is done, and something is to be said of it.</summary>
    Warning,

    /// <summary>More answers follow.</summary>
    Pending,

    /// <summary>It ended because it was asked to.</summary>
    Cancel,
}

/// <summary>What to do about a status.</summary>
public enum StatusAdvice
{
    /// <summary>The same request will not do better another time: somebody must look.</summary>
    Never,

    /// <summary>Nothing more to do.</summary>
    Done,

    /// <summary>The same request may succeed later.</summary>
    Later,

    /// <summary>The archive may have the object already: ask it.</summary>
    Ask,

    /// <summary>The archive does not have it: send it again, the same bytes under the same UIDs.</summary>
    Send,
}

/// <summary>A row of the status table.</summary>
/// <param name="Service">"C-STORE", "C-FIND", "STOW" (the reasons of PS3.18 section I.2) or "any".</param>
/// <param name="Code">Four hexadecimal digits, "x" for any.</param>
/// <param name="Class">Kind.</param>
/// <param name="Advice">What to do.</param>
/// <param name="Meaning">In words.</param>
/// <param name="Source">Where the standard says so.</param>
public sealed record StatusEntry(string Service, string Code, StatusClass Class, StatusAdvice Advice, string Meaning, string Source)
{
    internal bool Fits(string service, string digits)
    {
        if (Service != "any" && Service != service)
        {
            return false;
        }

        for (int i = 0; i < Code.Length; i++)
        {
            if (Code[i] != 'x' && Code[i] != digits[i])
            {
                return false;
            }
        }

        return true;
    }
}

/// <summary>The status codes of DIMSE as data (statuses.tsv beside this file), and the few that the code names.</summary>
public static class Statuses
{
    /// <summary>Success.</summary>
    public const ushort Success = 0x0000;

    /// <summary>A match follows (C-FIND).</summary>
    public const ushort Pending = 0xFF00;

    /// <summary>A match follows, with optional keys that were not looked at (C-FIND).</summary>
    public const ushort PendingWithUnsupportedKeys = 0xFF01;

    /// <summary>Ended by C-CANCEL.</summary>
    public const ushort Cancelled = 0xFE00;

    /// <summary>Invalid attribute value.</summary>
    public const ushort InvalidAttributeValue = 0x0106;

    /// <summary>Processing failure.</summary>
    public const ushort ProcessingFailure = 0x0110;

    /// <summary>There is an instance with this SOP Instance UID already.</summary>
    public const ushort DuplicateInstance = 0x0111;

    /// <summary>No such object instance.</summary>
    public const ushort NoSuchInstance = 0x0112;

    /// <summary>No such event type.</summary>
    public const ushort NoSuchEventType = 0x0113;

    /// <summary>Invalid argument value: what the event or action says does not fit.</summary>
    public const ushort InvalidArgumentValue = 0x0115;

    /// <summary>No such action type.</summary>
    public const ushort NoSuchAction = 0x0123;

    /// <summary>SOP class not supported.</summary>
    public const ushort SopClassNotSupported = 0x0122;

    /// <summary>Unrecognised operation.</summary>
    public const ushort UnrecognizedOperation = 0x0211;

    /// <summary>Out of resources (C-STORE, C-FIND).</summary>
    public const ushort OutOfResources = 0xA700;

    /// <summary>The data set, or the identifier, does not match the SOP class.</summary>
    public const ushort DataSetDoesNotMatch = 0xA900;

    /// <summary>Cannot understand, or unable to process.</summary>
    public const ushort CannotUnderstand = 0xC000;

    private static readonly StatusEntry[] Table = Load();

    /// <summary>All rows, in the order of the file.</summary>
    public static IReadOnlyList<StatusEntry> All => Table;

    /// <summary>The row for a status.</summary>
    /// <param name="service">"C-STORE", "C-FIND", "C-ECHO" ...</param>
    /// <param name="status">Status (0000,0900).</param>
    public static StatusEntry Find(string service, ushort status)
    {
        string digits = status.ToString("X4", CultureInfo.InvariantCulture);
        return Array.Find(Table, entry => entry.Fits(service, digits))!;
    }

    private static StatusEntry[] Load()
    {
        using Stream stream = typeof(Statuses).Assembly.GetManifestResourceStream("CameraBridge.Dicom.Dimse.statuses.tsv")
            ?? throw new InvalidOperationException("statuses.tsv is missing from the library.");
        using StreamReader reader = new(stream);
        List<StatusEntry> entries = [];
        while (reader.ReadLine() is { } line)
        {
            if (line.StartsWith('#') || line.StartsWith("service\t", StringComparison.Ordinal))
            {
                continue;
            }

            string[] cells = line.Split('\t');
            entries.Add(new StatusEntry(
                cells[0], cells[1], Enum.Parse<StatusClass>(cells[2]), Enum.Parse<StatusAdvice>(cells[3]), cells[4], cells[5]));
        }

        return [.. entries];
    }
}
