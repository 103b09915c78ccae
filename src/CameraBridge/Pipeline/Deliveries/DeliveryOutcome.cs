using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Web;

namespace CameraBridge.Pipeline.Deliveries;

/// <summary>What became of one attempt to deliver. Closed: these five and no others. Words name the peer and the next step, and no patient.</summary>
internal abstract record DeliveryOutcome
{
    /// <summary>By which a person has something sent that was refused or given up.</summary>
    public const string AgainCommand = "'camerabridge deliveries again'";

    /// <summary>End of the sentence of a refusal.</summary>
    public const string NotSentAgain = $"was not altered to make it fit and is not sent again, unless {AgainCommand} asks for it when the cause is gone.";

    private DeliveryOutcome(ushort? status, string words)
    {
        Status = status;
        Words = words;
    }

    /// <summary>DIMSE status, or null when no answer came.</summary>
    public ushort? Status { get; }

    public string Words { get; }

    /// <summary>Judges an answer by the status table of the library.</summary>
    /// <param name="reply">What the archive answered.</param>
    /// <param name="peer">The archive as sentences name it.</param>
    public static DeliveryOutcome Of(DimseReply reply, string peer) => (reply.Meaning.Class, reply.Meaning.Advice) switch
    {
        (StatusClass.Success, _) => new Stored(reply.Status, $"The {peer} stored it."),
        (StatusClass.Warning, _) => new StoredWithWarning(
            reply.Status, $"The {peer} stored it with a warning: {reply}. See there what it changed; what was sent was not altered."),

        // The UID is ours alone and the bytes are always the same, so the archive has this very object, most likely from an attempt whose answer was
        // lost. It is not sent under another UID; that it is kept is for the archive to confirm.
        (_, StatusAdvice.Ask) => new StoredWithWarning(
            reply.Status, $"The {peer} says that it has an object with this SOP Instance UID already ({reply}). Look there whether it is this one."),
        (_, StatusAdvice.Later) => new Retry(reply.Status, $"The {peer} could not take it now: {reply}. It is sent again."),
        _ => new Refused(
            reply.Status, $"The {peer} refused it: {reply}. See the archive's log for the reason; it {NotSentAgain}"),
    };

    /// <summary>Judges what a web server says of one object; the library has read it by PS3.18 section 10.5.3.</summary>
    /// <param name="judgement">What it says.</param>
    /// <param name="isAsked">Whether the server is asked afterwards what it keeps: then what is not known need not be sent once more to be sure.</param>
    public static DeliveryOutcome Of(StowJudgement judgement, bool isAsked) => judgement.Verdict switch
    {
        StowVerdict.Stored => new Stored(Statuses.Success, judgement.Sentence),
        StowVerdict.StoredWithWarning => new StoredWithWarning(judgement.Reason, judgement.Sentence),
        StowVerdict.Refused => new Refused(judgement.Reason, $"{judgement.Sentence} It {NotSentAgain}"),
        StowVerdict.Later => new Retry(judgement.Reason, judgement.Sentence),
        _ when isAsked && !judgement.ConcernsPeer => new StoredWithWarning(judgement.Reason, $"{judgement.Sentence} It is asked before anything is sent again."),
        _ => new Unknown($"{judgement.Sentence} The same bytes are sent again under the same UID."),
    };

    /// <summary>Success.</summary>
    internal sealed record Stored(ushort Code, string Sentence) : DeliveryOutcome(Code, Sentence);

    /// <summary>Taken, and something is to be said of it.</summary>
    internal sealed record StoredWithWarning(ushort? Code, string Sentence) : DeliveryOutcome(Code, Sentence);

    /// <summary>Not taken now; the same bytes may be later.</summary>
    internal sealed record Retry(ushort? Code, string Sentence) : DeliveryOutcome(Code, Sentence);

    /// <summary>Not taken, as long as nobody changes something at the archive.</summary>
    internal sealed record Refused(ushort? Code, string Sentence) : DeliveryOutcome(Code, Sentence);

    /// <summary>The association ended under way: the archive may have it or not. The same bytes go again under the same UID, so neither answer does harm.</summary>
    internal sealed record Unknown(string Sentence) : DeliveryOutcome(null, Sentence);
}
