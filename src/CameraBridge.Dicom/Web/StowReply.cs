using System.Net;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Web;

/// <summary>What became of one object.</summary>
public enum StowVerdict
{
    /// <summary>The archive names it among what it stored. That it keeps it is for a query to show.</summary>
    Stored,

    /// <summary>The same, with a warning.</summary>
    StoredWithWarning,

    /// <summary>Not stored; the same request may do better another time.</summary>
    Later,

    /// <summary>Not stored, and the same bytes will not be: somebody must look.</summary>
    Refused,

    /// <summary>Nothing is known of it, or the archive has one already: ask the archive before it is sent again, under the same UID.</summary>
    Unknown,
}

/// <summary>The judgement of one object.</summary>
/// <param name="SOPInstanceUID">Which.</param>
/// <param name="Verdict">What became of it.</param>
/// <param name="Sentence">What happened, which peer, what to do next. Nothing of a patient, and nothing that the peer wrote but its codes.</param>
public sealed record StowJudgement(string SOPInstanceUID, StowVerdict Verdict, string Sentence)
{
    /// <summary>Warning Reason (0008,1196) or Failure Reason (0008,1197), where the archive gave one (PS3.18 section I.2).</summary>
    public ushort? Reason { get; init; }

    /// <summary>Retrieve URL (0008,1190) of the object, where the archive gave one. It may hold anything.</summary>
    public string? RetrieveURL { get; init; }

    /// <summary>
    /// True where the answer condemned the whole request and it held more than this object: sent alone, it may be stored, and is not to be refused before that. One
    /// poisoned object stops no other.
    /// </summary>
    public bool SendAlone { get; init; }

    /// <summary>True where the peer, its address, or our credentials are at fault, so that every other object would fare the same.</summary>
    public bool ConcernsPeer { get; init; }
}

/// <summary>The answer to a store request, judged object by object (PS3.18 section 10.5.3 and Annex I): the status line alone is no word on any of them.</summary>
public sealed class StowReply
{
    private readonly Dictionary<string, StowJudgement> byUid;

    internal StowReply(HttpStatusCode? statusCode, IReadOnlyList<StowJudgement> instances)
    {
        StatusCode = statusCode;
        Instances = instances;
        byUid = instances.ToDictionary(judged => judged.SOPInstanceUID, StringComparer.Ordinal);
    }

    /// <summary>The HTTP status; null where no answer came.</summary>
    public HttpStatusCode? StatusCode { get; }

    /// <summary>A judgement for each object that was sent, in that order; none that was not.</summary>
    public IReadOnlyList<StowJudgement> Instances { get; }

    /// <summary>How long the peer asked to wait, at most a day; null when it did not.</summary>
    public TimeSpan? RetryAfter { get; init; }

    /// <summary>Retrieve URL of the study (0008,1190).</summary>
    public string? RetrieveURL { get; init; }

    /// <summary>Objects that the answer names and that were not sent: a sign that it belongs to another request.</summary>
    public int Strangers { get; init; }

    /// <summary>Items of Other Failures Sequence (0008,119A): parts in which the archive found no object.</summary>
    public int OtherFailures { get; init; }

    /// <summary>The answer as a data set, where one could be read; (0400,0561) in it tells what was coerced.</summary>
    public DataSet? DataSet { get; init; }

    /// <summary>The judgement of one object that was sent.</summary>
    /// <exception cref="KeyNotFoundException">It was not sent.</exception>
    public StowJudgement this[string SOPInstanceUID] => byUid[SOPInstanceUID];
}
