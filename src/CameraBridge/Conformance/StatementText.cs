using System.Globalization;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.UpperLayer;
using CameraBridge.Pipeline.Confirmations;
using CameraBridge.Pipeline.Deliveries;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Conformance;

/// <summary>The DICOM conformance statement (PS3.2 Annex N, edition 2025e) of this version, and of a site where its configuration is given.</summary>
internal static class StatementText
{
    private const string SampleSite = "spool: /var/lib/camerabridge/spool\nstate: /var/lib/camerabridge/state.db\nsources:\n  - name: SOURCE\n    folder: /srv/SOURCE\n"
        + "worklist:\n  - host: HOST\n    port: 104\n    called_ae_title: WORKLIST\n  - kind: mwl-rs\n    name: WEBLIST\n    url: https://HOST\nlisten:\n  port: 104\nperformed_step:\n  host: HOST\n  port: 104\n  called_ae_title: RIS\n"
        + "destinations:\n  - name: ARCHIVE\n    host: HOST\n    port: 104\n    called_ae_title: ARCHIVE\n"
        + "  - name: WEB\n    url: https://HOST\n    oauth:\n      endpoint: https://HOST\n      client_id: CLIENT\n      secret_file: /FILE\n";

    public static string Version => typeof(StatementText).Assembly.GetName().Version?.ToString(3) ?? "0";

    /// <param name="site">A site's configuration; null for the program's defaults.</param>
    public static string Write(SiteConfiguration? site)
    {
        IReadOnlyList<ClassSurvey> surveys = ClassSurvey.Make(site?.Optics ?? OpticsTable.Own);
        IReadOnlyList<WorklistKey> keys = WorklistKeys.Find(surveys);
        return Markdown.Fill(Markdown.Resource("statement.md"), new Dictionary<string, string>(StringComparer.Ordinal)
        {
            ["version"] = Version,
            ["scope"] = site is null ? "the program with its defaults" : "one site, by its configuration",
            ["services"] = Services(surveys),
            ["syntaxes"] = Syntaxes(surveys),
            ["worklist-contexts"] = ServiceTables.Contexts(DimseWorklist.Proposals),
            ["keys"] = Keys(keys),
            ["workitems"] = WorkitemSurvey.Write(),
            ["mapping"] = Mapping(keys),
            ["store-statuses"] = ServiceTables.StatusRows("C-STORE"),
            ["find-statuses"] = ServiceTables.StatusRows("C-FIND"),
            ["any-statuses"] = ServiceTables.StatusRows("any"),
            ["association"] = AssociationRows(),
            ["commitment-contexts"] = ServiceTables.Contexts(CommitmentUser.Proposals),
            ["commitment-parameters"] = ServiceTables.CommitmentParameters(),
            ["action-statuses"] = ServiceTables.StatusRows("N-ACTION"),
            ["commitment-reasons"] = ServiceTables.StatusRows("commitment"),
            ["report-contexts"] = ServiceTables.ReportContexts(),
            ["report-answers"] = ServiceTables.ReportAnswers(),
            ["acceptor"] = ServiceTables.AcceptorParameters(),
            ["proof-contexts"] = ServiceTables.Contexts([.. ArchiveQuestions.Proposals.Except(CommitmentUser.Proposals)]),
            ["proof-keys"] = ServiceTables.ProofKeys(),
            ["proof-parameters"] = ServiceTables.ProofParameters(),
            ["step-contexts"] = ServiceTables.Contexts(PerformedStepUser.Proposals),
            ["step-attributes"] = StepSurvey.Write(),
            ["step-parameters"] = ServiceTables.StepParameters(),
            ["create-statuses"] = ServiceTables.StatusRows("N-CREATE"),
            ["set-statuses"] = ServiceTables.StatusRows("N-SET"),
            ["web-requests"] = WebSurvey.Requests(),
            ["web-limits"] = WebSurvey.Limits(),
            ["web-store-answers"] = WebSurvey.StoreAnswers(),
            ["web-query-answers"] = WebSurvey.QueryAnswers(),
            ["stow-statuses"] = ServiceTables.StatusRows("STOW"),
            ["media-profile"] = MediaProfile.GeneralUsbJpeg,
            ["media-syntaxes"] = MediaSyntaxes(surveys),
            ["media-keys"] = MediaKeys(),
            ["character-sets"] = CharacterSets(),
            ["entities"] = Entities(site),
            ["settings"] = Settings(),
            ["optics"] = Optics(site?.Optics ?? OpticsTable.Own),
            ["presence"] = Markdown.Table(["Word", "Meaning"],
            [
                ["ALWAYS", "in every object, with a value"],
                ["VNAP", "in every object; without a value where none is known"],
                ["EMPTY", "in every object, without a value"],
                ["ANAP", "only in objects of which it is known"],
                ["ANAP EMPTY", "only in some objects, without a value"],
                ["(blank)", "in no object of the class"],
            ]),
            ["sources"] = Markdown.Table(["Word", "Meaning"], OriginText.Legend.Select(entry => (IReadOnlyList<string>)[entry.Word, entry.Meaning])),
            ["attributes"] = AttributeTables.Write(surveys),
            ["codes"] = Codes(surveys),
        });
    }

    private static string NameOf(string uid) => UidRegistry.NameOf(uid);

    private static string Services(IReadOnlyList<ClassSurvey> surveys) => Markdown.Table(
        ["SOP class", "UID", "SCU", "SCP"],
        surveys.Select(survey => survey.Class.SOPClassUID)
            .Concat(DimseWorklist.Proposals.Concat(ArchiveQuestions.Proposals).Concat(PerformedStepUser.Proposals).Append(EchoUser.Proposal).Select(proposal => proposal.AbstractSyntaxUID))
            .Distinct(StringComparer.Ordinal).Select(uid => (IReadOnlyList<string>)[NameOf(uid), uid, "yes", uid == EchoUser.Proposal.AbstractSyntaxUID ? "yes, where `listen` is written" : "no"]));

    private static string Syntaxes(IReadOnlyList<ClassSurvey> surveys) => Markdown.Table(
        ["SOP classes", "Transfer syntax", "UID", "For"],
        ObjectSyntaxes.All.Select(one => (IReadOnlyList<string>)
        [
            string.Join(", ", surveys.Where(survey => survey.Class.Kind == one.Kind).Select(survey => NameOf(survey.Class.SOPClassUID))), NameOf(one.UID), one.UID, one.For,
        ]));

    private static string Keys(IReadOnlyList<WorklistKey> keys) => Markdown.Table(
        ["Key", "Tag", "VR", "Asked with a value", "Filtered here", "In objects"],
        keys.Select(key => (IReadOnlyList<string>)
        [
            key.Path, TagOf(key.Path).ToString(), $"{TagDictionary.VrOf(TagOf(key.Path))}",
            key.IsMatched ? "yes, as the question needs" : key.IsAsked ? "no: return key" : "not asked for, taken where sent",
            key.Decides ? "another value is no match" : key.Ranks ? "orders proposals" : "", key.Targets.Count > 0 ? "yes" : "",
        ]));

    private static string Mapping(IReadOnlyList<WorklistKey> keys) => Markdown.Table(
        ["Worklist", "Attributes of the objects that depend on it"],
        keys.Where(key => key.Targets.Count > 0).Select(key => (IReadOnlyList<string>)[key.Path, string.Join(", ", key.Targets)]));

    private static string AssociationRows()
    {
        AssociationLimits limits = AssociationLimits.Default;
        AssociationOptions options = new() { Host = "x", Port = 104, CallingAETitle = "x", CalledAETitle = "x", Contexts = [] };
        PeerConfiguration peer = new() { Name = "x", Host = "x", Port = 104, CalledAETitle = "x" };
        return Markdown.Table(["Parameter", "Value"],
        [
            ["Application Context Name", SopClasses.ApplicationContextName],
            ["Implementation Class UID", FileMeta.OwnImplementationClassUID],
            ["Implementation Version Name", FileMeta.OwnImplementationVersionName],
            ["Maximum PDU length that is received", Bytes(options.MaximumReceiveLength)],
            ["Maximum PDU length that is sent", $"the smaller of the peer's and {Bytes(options.MaximumSendLength)}"],
            ["Maximum number of presentation contexts", $"{AssociationOptions.MaximumContexts}; one transfer syntax in each"],
            ["Asynchronous operations window", "not proposed: one operation at a time"],
            ["SCP/SCU role selection, SOP class extended negotiation, user identity", "not proposed"],
            ["Limit for connecting (name, TCP)", $"`connect_limit`, {ServiceTables.Seconds(peer.ConnectLimit)}"],
            ["Limit for the answer to A-ASSOCIATE-RQ", $"`response_limit`, {ServiceTables.Seconds(peer.ResponseLimit)}"],
            ["Limit for each response, and for each write that the peer must take", $"`response_limit`, {ServiceTables.Seconds(peer.ResponseLimit)}"],
            ["Limit for the answer to A-RELEASE-RQ", ServiceTables.Seconds(limits.Release)],
            ["ARTIM timer", ServiceTables.Seconds(limits.Artim)],
            ["An association without work is released after", ServiceTables.Seconds(StoreAssociations.IdleLimit)],
        ]);
    }

    /// <summary>In the form of PS3.11 table J.3-1.</summary>
    private static string MediaSyntaxes(IReadOnlyList<ClassSurvey> surveys) => Markdown.Table(
        ["Information object", "SOP class UID", "Transfer syntax", "UID", "FSC"],
        [
            MediaSyntax(SopClasses.MediaStorageDirectoryStorage, TransferSyntaxes.ExplicitVRLittleEndian),
            .. ObjectSyntaxes.All.Where(one => MediaProfile.Takes(one.UID)).SelectMany(one => surveys
                .Where(survey => survey.Class.Kind == one.Kind).Select(survey => MediaSyntax(survey.Class.SOPClassUID, one.UID))),
        ]);

    private static IReadOnlyList<string> MediaSyntax(string SOPClassUID, string transferSyntaxUID) =>
        [NameOf(SOPClassUID), SOPClassUID, NameOf(transferSyntaxUID), transferSyntaxUID, "yes"];

    private static string MediaKeys() => Markdown.Table(
        ["Record", "Key", "Tag", "There"],
        MediaDirectoryKeys.All.Select(key => (IReadOnlyList<string>)
        [
            key.RecordType, TagDictionary.Find(key.Tag)!.Keyword, key.Tag.ToString(),
            key.Presence switch
            {
                MediaKeyPresence.Always => "ALWAYS",
                MediaKeyPresence.Supplied => "ALWAYS; a number where the object has none",
                MediaKeyPresence.KnownOrEmpty => "VNAP",
                _ => "ANAP",
            },
        ]));

    private static string CharacterSets() => Markdown.Table(
        ["Read", "Written"], [[string.Join(", ", CharacterSet.DefinedTerms), "ISO_IR 192 (UTF-8) where a value goes beyond ASCII, else none (ISO-IR 6)"]]);

    private static string Entities(SiteConfiguration? site)
    {
        if (site is null)
        {
            return Markdown.Table(["Application entity", "AE title", "Peer"],
            [
                ["Worklist", $"`calling_ae_title`, by default {new SiteConfiguration { SpoolFolder = "", StateFile = "" }.CallingAETitle}; may differ for each peer", "for each of `worklist` that has one: called_ae_title, host and port"],
                ["Storage", "the same", "for each of `destinations`: called_ae_title, host and port"],
                ["Report", "`listen.ae_title`, by default the same", "archives that report storage commitment, to `listen.address` and `listen.port`"],
                ["Performed Step", "the same", "`performed_step.called_ae_title`, host and port"],
                ["Web user agent", "(none)", "for each of `worklist` and `destinations` that has one: url"],
            ]);
        }

        IEnumerable<IReadOnlyList<string>> worklist = site.Worklists.Where(one => one.Peer is not null).Select(one => Entity("Worklist", one.Peer!, site, "1 association"));
        IEnumerable<IReadOnlyList<string>> step = site.PerformedStep is { } told ? [Entity("Performed Step", told.Peer, site, "1 association")] : [];
        IEnumerable<IReadOnlyList<string>> report = site.Listen is { } listen
            ? [["Report", listen.AETitle ?? site.CallingAETitle, $"any, to {listen.Address}", listen.Port.ToString(CultureInfo.InvariantCulture), "see 7.2", "see 7.2"]]
            : [];
        return Markdown.Table(
            ["Application entity", "AE title", "Peer", "Port", "Limits (connect, response)", "At a time"],
            [
                .. worklist,
                .. site.Destinations.Where(one => one.Peer is not null).Select(one => Entity("Storage", one.Peer!, site, $"up to {one.Associations} associations, and 1 for clips; confirmed by {Word(one.ConfirmBy)}")),
                .. report,
                .. step,
                .. site.Worklists.Where(one => one.Web is not null).Select(one => WebEntity(one.Web!, one.Kind == WorklistKind.UpsRs ? "1 request, for workitems" : "1 request, for scheduled steps")),
                .. site.Destinations.Where(one => one.Web is not null).Select(one => WebEntity(one.Web!, $"up to {one.Associations} requests, and 1 for clips; confirmed by {Word(one.ConfirmBy)}")),
            ]);
    }

    private static string Word(ConfirmBy confirmBy) => confirmBy.ToString().ToLowerInvariant();

    private static string[] WebEntity(WebConfiguration web, string requests) =>
    [
        "Web user agent", "(none)", $"{web.Name} at {web.Url}", web.Url.Port.ToString(CultureInfo.InvariantCulture),
        $"{ServiceTables.Seconds(web.ConnectLimit)}, {ServiceTables.Seconds(web.ResponseLimit)}", requests,
    ];

    private static string[] Entity(string name, PeerConfiguration peer, SiteConfiguration site, string associations) =>
    [
        name, peer.CallingAETitle ?? site.CallingAETitle, $"{peer.CalledAETitle} at {peer.Host}", peer.Port.ToString(CultureInfo.InvariantCulture),
        $"{ServiceTables.Seconds(peer.ConnectLimit)}, {ServiceTables.Seconds(peer.ResponseLimit)}", associations,
    ];

    private static string Settings() => Markdown.Table(
        ["Setting", "Default"],
        ConfigurationFile.Parse(SampleSite, "sample").Settings.Select(setting => (IReadOnlyList<string>)
            [$"`{setting.Key}`", setting.Line is not null ? "(to be written)" : setting.Value.Length == 0 ? "(none)" : setting.Value]));

    private static string Optics(OpticsTable optics) => Markdown.Table(
        ["Optic", "Still", "Clip", "Modality", "Anatomic region by default", "Body sites of", "A capture is held without"],
        optics.All.OrderBy(optic => optic.Name, StringComparer.Ordinal).Select(optic => (IReadOnlyList<string>)
        [
            optic.Name, NameOf(optic.Still.SOPClassUID), NameOf(optic.Clip.SOPClassUID),
            optic.Still.Modality == optic.Clip.Modality ? optic.Still.Modality : $"{optic.Still.Modality}, clip {optic.Clip.Modality}",
            optic.Always.Values.CodeOf(ValueKeys.BodySite) is { } site ? $"{site.Meaning} ({site.Value}, {site.Scheme})" : "none",
            optic.BodySites.Count == 0 ? "any" : $"CID {string.Join(", ", optic.BodySites)}", string.Join(", ", optic.Needs),
        ]));

    private static string Codes(IReadOnlyList<ClassSurvey> surveys) => Markdown.Table(
        ["Attribute", "Context group of the standard", "Use"],
        ModuleRows.Modules(surveys).SelectMany(module => ModuleRows.Of(module, surveys))
            .Where(row => row.Row.Codes is not null && ModuleRows.IsEver(row, surveys)).DistinctBy(row => row.Path).OrderBy(row => row.Path, StringComparer.Ordinal)
            .Select(row => (IReadOnlyList<string>)[row.Path, row.Row.Codes!.Numbers, row.Row.Codes.IsDefined ? "defined" : "baseline"]));

    private static Tag TagOf(string path) => TagDictionary.Find(path[(path.LastIndexOf(AttributePaths.Step) + 1)..])!.Tag;

    private static string Bytes(int count) => count.ToString("#,0", CultureInfo.InvariantCulture) + " bytes";
}
