using System.Net;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Web;
using CameraBridge.Pipeline.Deliveries;

namespace CameraBridge.Commands.Checks;

/// <summary>Asks an archive by the way in which it is to show that it keeps objects.</summary>
internal sealed class WebArchiveQuestion(WebConfiguration web, ConfirmBy confirmBy, TimeProvider clock) : IWebQuestion
{
    /// <summary>An answer about an object that cannot be there is shorter.</summary>
    private const long MostBytes = 1024 * 1024;

    public string Step => $"destination {web.Name}";

    public string Part => confirmBy == ConfirmBy.Retrieval ? "retrieval" : "query";

    /// <summary>Asks for an object that cannot be there: proves TLS, credentials and the service, whatever the answer is, and changes nothing.</summary>
    public async Task<CheckLine> AskAsync(CancellationToken cancellation)
    {
        using var connection = WebConnection.TryOpen(web, clock, out string? why);
        if (connection is null)
        {
            return Failed("credentials", why!.TrimEnd('.'), CheckLine.Again);
        }

        try
        {
            string nowhere = Uids.NewFromUuid();
            bool isAbsent = confirmBy == ConfirmBy.Retrieval
                ? await connection.Wado.HashAsync(nowhere, nowhere, nowhere, MostBytes, cancellation).ConfigureAwait(false) is null
                : await connection.Qido.FindAsync(nowhere, nowhere, nowhere, cancellationToken: cancellation).ConfigureAwait(false) == InstancePresence.Absent;
            return isAbsent
                ? Ok(Part, $"answers {(confirmBy == ConfirmBy.Retrieval ? "WADO-RS" : "QIDO-RS")} and takes our credentials; that it takes our objects shows with the first")
                : Failed(Part, "has an object that cannot be there", "It ignores what it is asked for, so its answers prove nothing: write another confirm_by.");
        }
        catch (WebPeerException fault) when (confirmBy == ConfirmBy.None && fault.Fault == WebFault.Refused && fault.StatusCode is not (HttpStatusCode.Unauthorized or HttpStatusCode.Forbidden))
        {
            return new CheckLine($"{Step}: {Part}", CheckOutcome.Hint, fault.Sentence.TrimEnd('.'), "Harmless with confirm_by: none; that it takes our objects shows with the first.");
        }
        catch (WebPeerException fault)
        {
            return Failed(Part, fault.Sentence.TrimEnd('.'), CheckLine.Again);
        }
    }

    private CheckLine Ok(string part, string words) => new($"{Step}: {part}", CheckOutcome.Ok, words);

    private CheckLine Failed(string part, string words, string next) => new($"{Step}: {part}", CheckOutcome.Failed, words, next);
}
