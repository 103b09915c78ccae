using System.Globalization;
using System.Net;
using System.Net.Sockets;
using System.Runtime.CompilerServices;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Commands.Checks;

/// <summary>The way to one peer: name, connection, association, contexts, echo, and for a worklist a question.</summary>
internal sealed class PeerChecks(SiteConfiguration site, PeerConfiguration peer, string kind, TimeProvider clock)
{
    /// <summary>What the optics of the site's sources make, first in the syntax that most pictures and clips have, and the two commonest kinds.</summary>
    private readonly (string SOPClassUID, string TransferSyntaxUID, string Words, bool IsClip)[] _stored = StoredBy(site);

    private readonly string _step = kind == "worklist" ? "worklist" : $"destination {peer.Name}";

    public async IAsyncEnumerable<CheckLine> WalkAsync([EnumeratorCancellation] CancellationToken cancellation)
    {
        CheckLine name = await NameAsync(cancellation).ConfigureAwait(false);
        yield return name;
        if (name.Outcome == CheckOutcome.Failed)
        {
            yield return Skipped("TCP", "association");
            yield break;
        }

        CheckLine connection = await ConnectAsync(cancellation).ConfigureAwait(false);
        yield return connection;
        if (connection.Outcome == CheckOutcome.Failed)
        {
            yield return Skipped("association", kind == "worklist" ? "query" : "contexts");
            yield break;
        }

        // The verdicts are gathered and told together, so that the association is not kept while somebody reads.
        foreach (CheckLine line in await AssociateAsync(cancellation).ConfigureAwait(false))
        {
            yield return line;
        }
    }

    private async Task<CheckLine> NameAsync(CancellationToken cancellation)
    {
        try
        {
            using CancellationTokenSource limit = Limit(cancellation);
            IPAddress[] addresses = await Dns.GetHostAddressesAsync(peer.Host, limit.Token).ConfigureAwait(false);
            return Ok("name", $"{peer.Host} is {string.Join(", ", addresses.Select(address => address.ToString()))}");
        }
        catch (SocketException)
        {
            return Failed("name", $"{peer.Host} cannot be resolved", "Check the host name and DNS, or write the address.");
        }
        catch (OperationCanceledException) when (!cancellation.IsCancellationRequested)
        {
            return Failed("name", $"{peer.Host}: the name server did not answer within {SettingValues.WriteDuration(peer.ConnectLimit)}", "Check DNS, or write the address.");
        }
    }

    private async Task<CheckLine> ConnectAsync(CancellationToken cancellation)
    {
        string place = string.Create(CultureInfo.InvariantCulture, $"{peer.Host}:{peer.Port}");
        try
        {
            using CancellationTokenSource limit = Limit(cancellation);
            using TcpClient client = new();
            long start = clock.GetTimestamp();
            await client.ConnectAsync(peer.Host, peer.Port, limit.Token).ConfigureAwait(false);
            return Ok("TCP", string.Create(CultureInfo.InvariantCulture, $"{place} takes connections ({clock.GetElapsedTime(start).TotalMilliseconds:0} ms)"));
        }
        catch (SocketException fault)
        {
            string what = fault.SocketErrorCode == SocketError.ConnectionRefused ? "nothing listens there" : fault.SocketErrorCode.ToString();
            return Failed("TCP", $"{place}: {what}", "Check that it runs, the port, and the firewall between.");
        }
        catch (OperationCanceledException) when (!cancellation.IsCancellationRequested)
        {
            return Failed("TCP", $"{place} did not answer within {SettingValues.WriteDuration(peer.ConnectLimit)}", "Check address, route and firewall.");
        }
    }

    private async Task<IReadOnlyList<CheckLine>> AssociateAsync(CancellationToken cancellation)
    {
        List<CheckLine> lines = [];
        AssociationOptions options = new()
        {
            Host = peer.Host,
            Port = peer.Port,
            CallingAETitle = peer.CallingAETitle ?? site.CallingAETitle,
            CalledAETitle = peer.CalledAETitle,
            PeerKind = kind,
            Contexts = kind == "worklist"
                ? [EchoUser.Proposal, new(SopClasses.ModalityWorklistInformationModelFind, TransferSyntaxes.ImplicitVRLittleEndian)]
                : [EchoUser.Proposal, .. _stored.Select(stored => new ContextProposal(stored.SOPClassUID, stored.TransferSyntaxUID))],
            Limits = AssociationLimits.Default with { Connect = peer.ConnectLimit, Associate = peer.ResponseLimit, Response = peer.ResponseLimit },
            TimeProvider = clock,
        };
        try
        {
            Association association = await Association.RequestAsync(options, cancellation).ConfigureAwait(false);
            await using (association.ConfigureAwait(false))
            {
                lines.Add(Ok("association", $"{options.CalledAETitle} accepts {options.CallingAETitle} ({association.PeerImplementation})"));
                await EchoAsync(association, lines, cancellation).ConfigureAwait(false);
                if (kind == "worklist")
                {
                    await AskAsync(association, lines, cancellation).ConfigureAwait(false);
                }
                else
                {
                    Contexts(association, lines);
                }

                await association.ReleaseAsync(cancellation).ConfigureAwait(false);
            }
        }
        catch (AssociationException fault)
        {
            lines.Add(Failed(lines.Count == 0 ? "association" : "conversation", fault.Sentence.TrimEnd('.'), "Do as the sentence says, then check again."));
        }

        return lines;
    }

    private async Task EchoAsync(Association association, List<CheckLine> lines, CancellationToken cancellation)
    {
        try
        {
            DimseReply reply = await new EchoUser(association).EchoAsync(cancellation).ConfigureAwait(false);
            lines.Add(reply.IsDone
                ? Ok("echo", "answers C-ECHO")
                : new CheckLine($"{_step}: echo", CheckOutcome.Hint, reply.ToString(), "Harmless by itself; its log may say why."));
        }
        catch (ContextNotAcceptedException)
        {
            lines.Add(new CheckLine($"{_step}: echo", CheckOutcome.Hint, "does not offer C-ECHO", "Harmless where the lines below are ok."));
        }
    }

    private void Contexts(Association association, List<CheckLine> lines)
    {
        StoreUser user = new(association);
        foreach ((string uid, string syntax, string words, bool isClip) in _stored)
        {
            bool takes = user.CanStore(uid, syntax);
            string syntaxWords = isClip ? "H.264 High@4.1" : "JPEG Baseline";
            lines.Add(
                takes ? Ok("contexts", $"takes {words} as {syntaxWords}")
                : isClip ? new CheckLine(
                    $"{_step}: contexts",
                    CheckOutcome.Hint,
                    $"does not take {words} as {syntaxWords} ({Refusal(association, uid)})",
                    $"If the cameras of the site make clips, allow SOP class {uid} with transfer syntax {syntax} there.")
                : Failed(
                    "contexts",
                    $"does not take {words} as {syntaxWords} ({Refusal(association, uid)})",
                    $"Allow SOP class {uid} with transfer syntax {syntax} there; pictures are never re-encoded to please a peer."));
        }
    }

    private static (string SOPClassUID, string TransferSyntaxUID, string Words, bool IsClip)[] StoredBy(SiteConfiguration site)
    {
        IEnumerable<OpticClass> classes = site.Sources.Select(source => site.Optics.TryFind(source.Optic, out Optic? optic) ? optic : null).OfType<Optic>()
            .SelectMany(optic => new[] { optic.Still, optic.Clip })
            .Concat([OpticClass.Find("endoscopic", CaptureKind.Still)!, OpticClass.Find("photographic", CaptureKind.Still)!])
            .Distinct();
        return
        [
            .. classes.OrderBy(one => one.Kind).ThenBy(one => one.SOPClassUID, StringComparer.Ordinal).Select(one => (
                one.SOPClassUID,
                one.Kind == CaptureKind.Clip ? TransferSyntaxes.MPEG4HP41 : TransferSyntaxes.JPEGBaseline8Bit,
                UidRegistry.Find(one.SOPClassUID)!.Name.Replace(" Storage", "", StringComparison.Ordinal),
                one.Kind == CaptureKind.Clip)),
        ];
    }

    private async Task AskAsync(Association association, List<CheckLine> lines, CancellationToken cancellation)
    {
        DataSet step = new();
        string today = TimeZoneInfo.ConvertTime(clock.GetUtcNow(), site.TimeZone).ToString("yyyyMMdd", CultureInfo.InvariantCulture);
        step.Set(Tags.Modality, "");
        step.Set(Tags.ScheduledStationAETitle, "");
        step.SetBytes(Tags.ScheduledProcedureStepStartDate, System.Text.Encoding.ASCII.GetBytes(today));
        step.Set(Tags.ScheduledProcedureStepID, "");
        DataSet keys = new();
        keys.SetEmpty(Tags.SpecificCharacterSet);
        keys.SetEmpty(Tags.AccessionNumber);
        keys.SetEmpty(Tags.PatientID);
        keys.SetItems(Tags.ScheduledProcedureStepSequence, step);
        try
        {
            int limit = site.Worklist?.AnswerLimit ?? 1000;
            FindResult result = await new FindUser(association)
                .FindAllAsync(SopClasses.ModalityWorklistInformationModelFind, keys, limit, cancellation).ConfigureAwait(false);
            int own = result.Matches.Count(match => site.Sources.Any(source => source.StationAETitle is { } title
                && match.Identifier.GetItem(Tags.ScheduledProcedureStepSequence)?.GetStrings(Tags.ScheduledStationAETitle).Contains(title) == true));
            string words = string.Create(CultureInfo.InvariantCulture, $"{result.Matches.Count}{(result.IsCut ? " or more" : "")} steps scheduled today, {own} of them for the sources' stations");
            lines.Add(result.IsCut || result.Final.IsDone
                ? result.Matches.Count == 0
                    ? new CheckLine($"{_step}: query", CheckOutcome.Hint, words, "None today may be right; else compare station AE titles and dates with the worklist's.")
                    : Ok("query", words)
                : Failed("query", result.Final.ToString(), "Its log says what it did not like; a wrong AE title is common."));
        }
        catch (ContextNotAcceptedException fault)
        {
            lines.Add(Failed("query", fault.Sentence.TrimEnd('.'), "Check that this port is the worklist and not the archive."));
        }
    }

    private static string Refusal(Association association, string uid) =>
        association.RefusedContexts.FirstOrDefault(refused => refused.AbstractSyntaxUID == uid)?.Result switch
        {
            ContextResult.AbstractSyntaxNotSupported => "it does not know the SOP class",
            ContextResult.TransferSyntaxesNotSupported => "it knows the SOP class, but not the transfer syntax",
            ContextResult.UserRejection => "its application refuses it",
            _ => "it gives no reason",
        };

    private CancellationTokenSource Limit(CancellationToken cancellation)
    {
        CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(cancellation);
        limit.CancelAfter(peer.ConnectLimit);
        return limit;
    }

    private CheckLine Ok(string part, string words) => new($"{_step}: {part}", CheckOutcome.Ok, words);

    private CheckLine Failed(string part, string words, string next) => new($"{_step}: {part}", CheckOutcome.Failed, words, next);

    private CheckLine Skipped(params string[] parts) => new($"{_step}: {string.Join(", ", parts)}", CheckOutcome.Skipped, "not tried, since the step before failed");
}
