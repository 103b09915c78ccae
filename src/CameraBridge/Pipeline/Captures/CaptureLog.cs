namespace CameraBridge.Pipeline.Captures;

/// <summary>
/// What taking captures writes to the log: event ids 1000 to 1099. A folder or file name may be a patient's, so the log has counts and a short id made
/// of the place's hash; the place itself is in the operator's view.
/// </summary>
internal static partial class CaptureLog
{
    [LoggerMessage(1000, LogLevel.Information, "Source {Source}{Mount} is there")]
    public static partial void SourceCame(this ILogger logger, string source, string mount);

    [LoggerMessage(1001, LogLevel.Information, "Source {Source}{Mount} is gone; everything on it had been taken")]
    public static partial void SourceWent(this ILogger logger, string source, string mount);

    [LoggerMessage(1002, LogLevel.Warning, "Source {Source}{Mount} went before {Waiting} of its files were taken; put it back, its sittings wait for the quiet time")]
    public static partial void SourceYanked(this ILogger logger, string source, string mount, int waiting);

    [LoggerMessage(1003, LogLevel.Information, "Source {Source}{Mount}: {Taken} captures taken, {Known} files were known")]
    public static partial void Taken(this ILogger logger, string source, string mount, int taken, int known);

    [LoggerMessage(1004, LogLevel.Information, "Source {Source}{Mount}: {Count} skipped: {Reason} (first: {First})")]
    public static partial void Skipped(this ILogger logger, string source, string mount, int count, string reason, string first);

    [LoggerMessage(1005, LogLevel.Warning, "Source {Source}{Mount}: {Count} not taken: {Reason} (first: {First}; its place is shown by 'once' and 'check')")]
    public static partial void NotTaken(this ILogger logger, string source, string mount, int count, string reason, string first);

    [LoggerMessage(1006, LogLevel.Warning, "Source {Source}{Mount}: {Count} files could not be read now ({Words}; first: {First}, tried again at {DueAt:u})")]
    public static partial void Failed(this ILogger logger, string source, string mount, int count, string words, string first, DateTimeOffset dueAt);

    [LoggerMessage(1007, LogLevel.Error, "{Sentence} Next attempt at {RetryAt:u}")]
    public static partial void SpoolUnavailable(this ILogger logger, string sentence, DateTimeOffset retryAt);

    [LoggerMessage(1008, LogLevel.Information, "The spool takes pictures again")]
    public static partial void SpoolRecovered(this ILogger logger);

    [LoggerMessage(1009, LogLevel.Error, "Source {Source}: {Sentence} Next attempt at {RetryAt:u}")]
    public static partial void StateUnavailable(this ILogger logger, string source, string sentence, DateTimeOffset retryAt);

    [LoggerMessage(1010, LogLevel.Error, "Source {Source} has not answered since {Since:u}; check the share or the stick. Other sources go on")]
    public static partial void SourceHangs(this ILogger logger, string source, DateTimeOffset since);

    [LoggerMessage(1011, LogLevel.Information, "Source {Source}{Mount}: change notices are not to be had ({Words}); rescans alone find what is new")]
    public static partial void NoHints(this ILogger logger, string source, string mount, string words);

    [LoggerMessage(1012, LogLevel.Information, "Source {Source}{Mount} is another stick than before; the sittings of the one before are closed")]
    public static partial void OtherStick(this ILogger logger, string source, string mount);

    [LoggerMessage(1013, LogLevel.Critical, "Source {Source} failed by an unforeseen error and is tried again at {RetryAt:u}; please report this entry: {Error}")]
    public static partial void Unforeseen(this ILogger logger, string source, DateTimeOffset retryAt, string error);

    [LoggerMessage(1015, LogLevel.Information, "Source {Source} is scanned by the worker on {Holder}; this one waits. Sticks of several machines need sources of different names")]
    public static partial void SourceElsewhere(this ILogger logger, string source, string holder);

    [LoggerMessage(1016, LogLevel.Information, "Source {Source} is scanned by this worker now")]
    public static partial void SourceTaken(this ILogger logger, string source);

    [LoggerMessage(1017, LogLevel.Warning, "Source {Source} was taken over by another worker, since this one had not kept its hold in time; it stops scanning")]
    public static partial void SourceLost(this ILogger logger, string source);

    [LoggerMessage(1014, LogLevel.Warning, "Source {Source}: the folder is empty, but {Known} files were known there; mount the share")]
    public static partial void EmptyShare(this ILogger logger, string source, int known);
}
