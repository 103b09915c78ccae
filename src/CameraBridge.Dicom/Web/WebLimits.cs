namespace CameraBridge.Dicom.Web;

/// <summary>How long each wait on a web peer may last, and how much of its answer is taken. The sentence of a time-out says which limit it was.</summary>
public sealed record WebLimits
{
    /// <summary>Limits for a hospital network: generous where an archive works, short where only a machine must answer.</summary>
    public static WebLimits Default { get; } = new();

    /// <summary>Name resolution, TCP connect and TLS; kept by the handler of <see cref="WebPeer.CreateHandler"/>.</summary>
    public TimeSpan Connect { get; init; } = TimeSpan.FromSeconds(15);

    /// <summary>Until the first byte of a body may go: a free connection, and what authorization asks for.</summary>
    public TimeSpan Start { get; init; } = TimeSpan.FromSeconds(60);

    /// <summary>From the end of the request to the head of the answer. An archive that writes to slow storage works in this time.</summary>
    public TimeSpan Headers { get; init; } = TimeSpan.FromSeconds(120);

    /// <summary>Each write that the peer must take (at most 128 KiB) and each read of its answer.</summary>
    public TimeSpan Idle { get; init; } = TimeSpan.FromSeconds(60);

    /// <summary>A whole request with its answer, however well it moves.</summary>
    public TimeSpan Whole { get; init; } = TimeSpan.FromHours(4);

    /// <summary>Largest answer held in memory, in bytes. Retrieved objects are streamed and not limited by it.</summary>
    public int MaxAnswerBytes { get; init; } = 16 * 1024 * 1024;
}
