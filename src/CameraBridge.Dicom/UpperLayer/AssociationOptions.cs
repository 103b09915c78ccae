using System.Globalization;

namespace CameraBridge.Dicom.UpperLayer;

/// <summary>Everything that an association needs from the side that asks for it.</summary>
public sealed record AssociationOptions
{
    /// <summary>At most this many presentation contexts fit into an association: IDs are odd and one byte (PS3.8 section 9.3.2.2).</summary>
    public const int MaximumContexts = 128;

    /// <summary>Name or address of the peer.</summary>
    public required string Host { get; init; }

    /// <summary>TCP port of the peer.</summary>
    public required int Port { get; init; }

    /// <summary>Our AE title, 1 to 16 characters.</summary>
    public required string CallingAETitle { get; init; }

    /// <summary>The peer's AE title, 1 to 16 characters.</summary>
    public required string CalledAETitle { get; init; }

    /// <summary>What to propose, in the order of wish; at most <see cref="MaximumContexts"/>. The same pair twice counts once.</summary>
    public required IReadOnlyList<ContextProposal> Contexts { get; init; }

    /// <summary>What the peer is, for sentences: "archive", "worklist", or just "peer".</summary>
    public string PeerKind { get; init; } = "peer";

    /// <summary>Longest P-DATA-TF that we want to receive; announced and enforced. 4 KiB to 16 MiB.</summary>
    public int MaximumReceiveLength { get; init; } = 128 * 1024;

    /// <summary>
    /// Longest P-DATA-TF that we send even if the peer allows more or does not limit it. 4 KiB to 16 MiB. 128 KiB fill a long fat link and
    /// cost no memory worth mentioning.
    /// </summary>
    public int MaximumSendLength { get; init; } = 128 * 1024;

    /// <summary>How many operations we should like to have outstanding; 1 proposes nothing, 0 is without limit.</summary>
    public ushort OperationsInvoked { get; init; } = 1;

    /// <summary>How many operations we perform at a time for the peer; 1 proposes nothing.</summary>
    public ushort OperationsPerformed { get; init; } = 1;

    /// <summary>Limits of all waits.</summary>
    public AssociationLimits Limits { get; init; } = AssociationLimits.Default;

    /// <summary>The clock that the limits run on.</summary>
    public TimeProvider TimeProvider { get; init; } = TimeProvider.System;

    /// <summary>"archive PACS1 at 127.0.0.1:104", as sentences name the peer.</summary>
    public string PeerName => string.Create(CultureInfo.InvariantCulture, $"{PeerKind} {CalledAETitle} at {Host}:{Port}");

    /// <exception cref="ArgumentException">An AE title, a port, a length or the number of contexts is out of its range.</exception>
    internal void Validate()
    {
        ArgumentException.ThrowIfNullOrEmpty(Host);
        ArgumentOutOfRangeException.ThrowIfLessThan(Port, 1);
        ArgumentOutOfRangeException.ThrowIfGreaterThan(Port, 65535);
        AETitles.Check(CallingAETitle, nameof(CallingAETitle));
        AETitles.Check(CalledAETitle, nameof(CalledAETitle));
        PduCodec.CheckDataLimit(MaximumReceiveLength, nameof(MaximumReceiveLength));
        PduCodec.CheckDataLimit(MaximumSendLength, nameof(MaximumSendLength));
        int count = Contexts.Distinct().Count();
        if (count is 0 or > MaximumContexts)
        {
            throw new ArgumentException(
                string.Create(CultureInfo.InvariantCulture, $"An association carries 1 to {MaximumContexts} presentation contexts, not {count}."),
                nameof(Contexts));
        }
    }
}

/// <summary>AE titles (VR AE, PS3.5 section 6.2; PS3.8 section 7.1.1.3).</summary>
public static class AETitles
{
    /// <summary>True for 1 to 16 characters of ISO 646 without control characters and backslash, not all of them spaces.</summary>
    public static bool IsValid(string? title) =>
        title is { Length: >= 1 and <= 16 } && !string.IsNullOrWhiteSpace(title) && title.All(c => c is >= ' ' and < '\x7F' and not '\\');

    internal static void Check(string title, string parameter)
    {
        if (!IsValid(title))
        {
            throw new ArgumentException($"\"{title}\" is no AE title: 1 to 16 characters, none of them a backslash or a control character.", parameter);
        }
    }
}
