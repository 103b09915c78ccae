using System.Globalization;
using System.Net;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;

namespace CameraBridge.Dicom.Web;

/// <summary>Judges an answer to a store request for each object of the request. Pure: status, data set, what was sent; no network.</summary>
internal sealed class StowAnswer(string peer, HttpStatusCode status, TimeSpan? retryAfter, IReadOnlyList<(string SOPClassUID, string SOPInstanceUID)> sent)
{
    private readonly Dictionary<string, StowJudgement> told = new(StringComparer.Ordinal);

    /// <summary>True when the request was metadata with bulk data, which servers may refuse.</summary>
    public bool IsMetadata { get; init; }

    /// <summary>True when a gateway says that it is about the client certificate (<see cref="WebSentences.IsAboutCertificate"/>).</summary>
    public bool IsAboutCertificate { get; init; }

    /// <param name="dataSet">The Store Instances Response Module, or null where the answer had none that could be read.</param>
    /// <param name="flaw">Why there is none, as the end of a sentence; null when the answer simply had none.</param>
    public StowReply Judge(DataSet? dataSet, string? flaw)
    {
        Dictionary<string, string> classes = sent.ToDictionary(one => one.SOPInstanceUID, one => one.SOPClassUID, StringComparer.Ordinal);
        int strangers = 0;
        IReadOnlyList<DataSet> others = [];
        if (dataSet is not null)
        {
            foreach (DataSet item in dataSet.GetItems(Tags.ReferencedSOPSequence))
            {
                strangers += Tell(classes, item, Stored) ? 0 : 1;
            }

            foreach (DataSet item in dataSet.GetItems(Tags.FailedSOPSequence))
            {
                strangers += Tell(classes, item, Failed) ? 0 : 1;
            }

            others = dataSet.GetItems(Tags.OtherFailuresSequence);
        }

        ushort? otherReason = others.Count > 0 ? Code(others[0], Tags.FailureReason) : null;
        return new StowReply(status, [.. sent.Select(one => told.GetValueOrDefault(one.SOPInstanceUID) ?? Untold(one.SOPInstanceUID, dataSet, flaw, others.Count, otherReason))])
        {
            RetryAfter = retryAfter,
            RetrieveURL = dataSet?.GetString(Tags.RetrieveURL),
            Strangers = strangers,
            OtherFailures = others.Count,
            DataSet = dataSet,
        };
    }

    private static ushort? Code(DataSet item, Tag tag) => item.GetInt64(tag) is { } value and >= 0 and <= ushort.MaxValue ? (ushort)value : null;

    /// <returns>False for an object that was not sent.</returns>
    private bool Tell(Dictionary<string, string> classes, DataSet item, Func<string, DataSet, StowJudgement> judge)
    {
        if (item.GetString(Tags.ReferencedSOPInstanceUID) is not { } SOPInstanceUID || !classes.TryGetValue(SOPInstanceUID, out string? ours))
        {
            return false;
        }

        StowJudgement judgement = judge(SOPInstanceUID, item);
        if (item.GetString(Tags.ReferencedSOPClassUID) is { Length: > 0 } theirs && theirs != ours)
        {
            judgement = new StowJudgement(SOPInstanceUID, StowVerdict.Unknown, $"{peer} names the object under another SOP class than it was sent with: ask it what it has under this UID.");
        }

        if (told.TryGetValue(SOPInstanceUID, out StowJudgement? before) && before.Verdict != judgement.Verdict)
        {
            judgement = new StowJudgement(SOPInstanceUID, StowVerdict.Unknown, $"{peer} named the object twice and contradicted itself: ask it whether it has it.");
        }

        told[SOPInstanceUID] = judgement;
        return true;
    }

    private StowJudgement Stored(string SOPInstanceUID, DataSet item)
    {
        string? RetrieveURL = item.GetString(Tags.RetrieveURL);
        if (Code(item, Tags.WarningReason) is not { } reason || reason == Statuses.Success)
        {
            return new StowJudgement(SOPInstanceUID, StowVerdict.Stored, $"{peer} stored the object.") { RetrieveURL = RetrieveURL };
        }

        StatusEntry entry = Statuses.Find("STOW", reason);
        string meaning = entry.Class == StatusClass.Warning ? entry.Meaning : "stored, with a warning that the standard does not define";
        return new StowJudgement(SOPInstanceUID, StowVerdict.StoredWithWarning, Told(meaning, reason) + "; compare what it keeps.")
        {
            Reason = reason,
            RetrieveURL = RetrieveURL,
        };
    }

    private StowJudgement Failed(string SOPInstanceUID, DataSet item) => ByReason(SOPInstanceUID, Code(item, Tags.FailureReason));

    private StowJudgement ByReason(string SOPInstanceUID, ushort? given)
    {
        if (given is not { } reason)
        {
            return new StowJudgement(SOPInstanceUID, StowVerdict.Later, $"{peer} did not store the object and gave no reason: look into its log.");
        }

        StatusEntry entry = Statuses.Find("STOW", reason);
        (StowVerdict verdict, string next) = (entry.Class, entry.Advice) switch
        {
            (StatusClass.Failure, StatusAdvice.Later) => (StowVerdict.Later, "sent again later; look into its log if that goes on"),
            (StatusClass.Failure, StatusAdvice.Never) => (StowVerdict.Refused, "look into its log, and at what it is set to accept"),
            (StatusClass.Failure, _) => (StowVerdict.Unknown, "ask it what it has under this UID"),

            // A code of success or warning among the failures: it says both.
            _ => (StowVerdict.Unknown, "but names it among the failures: ask it whether it has it"),
        };
        return new StowJudgement(SOPInstanceUID, verdict, $"{Told(entry.Meaning, reason)}; {next}.") { Reason = reason };
    }

    private string Told(string meaning, ushort reason) => string.Create(CultureInfo.InvariantCulture, $"{peer} says of the object: {meaning} ({reason:X4})");

    /// <summary>An object of which the answer says nothing.</summary>
    private StowJudgement Untold(string SOPInstanceUID, DataSet? dataSet, string? flaw, int others, ushort? otherReason)
    {
        bool several = sent.Count > 1;
        bool isTold = dataSet is not null && told.Count > 0;
        string code = string.Create(CultureInfo.InvariantCulture, $"(HTTP {(int)status})");
        if (others > 0)
        {
            return several
                ? new(SOPInstanceUID, StowVerdict.Later, $"{peer} found no object in a part of the request {code}, perhaps this one: sent again alone.") { SendAlone = true, Reason = otherReason }
                : ByReason(SOPInstanceUID, otherReason);
        }

        switch ((int)status)
        {
            case 400 when IsAboutCertificate:
                return new(SOPInstanceUID, StowVerdict.Later, $"{peer} {WebSentences.WantsCertificate} {code}.") { ConcernsPeer = true };
            case >= 200 and < 300:
                string what = flaw ?? (isTold ? "does not name the object in its answer" : "gives no account of the object");
                return new(SOPInstanceUID, StowVerdict.Unknown, $"{peer} {what} {code}: ask it whether it has it.");
            case 500 or 502 or 504 or 408:
                return new(SOPInstanceUID, StowVerdict.Unknown, $"{peer} {WebSentences.OfStatus(status)} {code}; it may have stored the object: ask it.") { ConcernsPeer = true };
            case 413:
                return several
                    ? new(SOPInstanceUID, StowVerdict.Later, $"{peer} does not take so many bytes in one request {code}: sent again alone; set smaller batches.") { SendAlone = true }
                    : new(SOPInstanceUID, StowVerdict.Refused, $"{peer} does not take an object of this size {code}: allow larger requests there, or send it by DIMSE.");
            case 415 when IsMetadata:
                return new(SOPInstanceUID, StowVerdict.Later, $"{peer} does not take metadata with bulk data {code}: set the form application/dicom.") { ConcernsPeer = true };
            case 417:
                return new(SOPInstanceUID, StowVerdict.Later, $"{peer} does not know Expect: 100-continue {code}: switch it off for this peer.") { ConcernsPeer = true };
            case 400 or 406 or 409 or 411 or 415 or 422:
                if (isTold)
                {
                    return new(SOPInstanceUID, StowVerdict.Unknown, $"{peer} gives an account of other objects, not of this one {code}: ask it whether it has it.");
                }

                return several
                    ? new(SOPInstanceUID, StowVerdict.Later, $"{peer} took none of the request {code}, and does not say for which object: sent again alone.") { SendAlone = true }
                    : new(SOPInstanceUID, StowVerdict.Refused, $"{peer} {OfOne()} {code}.");
            default:
                return new(SOPInstanceUID, StowVerdict.Later, $"{peer} {WebSentences.OfStatus(status)} {code}.") { ConcernsPeer = true };
        }
    }

    /// <summary>PS3.18 Table 10.5.3-1.</summary>
    private string OfOne() => (int)status switch
    {
        409 => "refused the object for a conflict: an SOP class that it does not take, or another study than that of the address; look into its log",
        415 => "does not take this media type or transfer syntax: look at what it is set to accept",
        411 => "wants a length that it was given: look for a proxy between that removes it",
        _ => WebSentences.OfStatus(status),
    };
}
