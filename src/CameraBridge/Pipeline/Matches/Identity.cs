using CameraBridge.Pipeline.Sittings;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Matches;

/// <summary>Whose pictures they are, as far as the cues of a sitting say so with one voice.</summary>
internal sealed record Identity
{
    public string? PatientID { get; private init; }

    public string? IssuerOfPatientID { get; private init; }

    public string? AccessionNumber { get; private init; }

    /// <summary>Every Patient ID that some cue names, for proposals where they do not agree.</summary>
    public IReadOnlyList<string> AllPatientIDs { get; private init; } = [];

    public IReadOnlyList<string> AllAccessionNumbers { get; private init; } = [];

    /// <summary>Where the identity comes from.</summary>
    public IReadOnlyList<Reason> Evidence { get; private init; } = [];

    /// <summary>Why it is not enough for an automatic match; empty when it is.</summary>
    public IReadOnlyList<Reason> Problems { get; private init; } = [];

    /// <summary>True when some cue names a patient or an order.</summary>
    public bool IsNamed => AllPatientIDs.Count > 0 || AllAccessionNumbers.Count > 0;

    /// <summary>Puts the cues of a sitting together.</summary>
    /// <param name="sitting">The sitting.</param>
    /// <param name="captures">Its captures.</param>
    /// <param name="cues">Their cues, and those of other captures that speak for the whole folder.</param>
    public static Identity Of(Sitting sitting, IReadOnlyList<Capture> captures, IReadOnlyList<Cue> cues)
    {
        var places = captures.ToDictionary(capture => capture.Id, capture => capture.Place);
        Claim[] claims = [.. cues.Where(cue => Names(cue)).Select(cue => new Claim(cue, Scope(cue, places)))];
        var problems = new List<Reason>();
        AddFindings(problems, sitting, cues);
        var cards = new CardActs(sitting, captures, cues);
        problems.AddRange(cards.Problems);

        string[] patients = Distinct(claims, claim => claim.Cue.PatientID);
        string[] issuers = Distinct(claims, claim => claim.Cue.IssuerOfPatientID);
        string[] orders = Distinct(claims, claim => claim.Cue.AccessionNumber);
        if (patients.Any(value => !WorklistQuestion.IsPlain(value, 64))
            || issuers.Any(value => !WorklistQuestion.IsPlain(value, 64))
            || orders.Any(value => !WorklistQuestion.IsPlain(value, 16)))
        {
            problems.Add(new Reason(
                "identity-invalid",
                "What a label, name or sidecar says is no possible ID: it is too long or holds one of \\ * ?; tighten the pattern, or assign by hand."));
        }

        AddDisagreement(problems, claims, patients, "patients", "two-patients", cue => cue.PatientID);
        AddDisagreement(problems, claims, issuers, "issuers of the patient ID", "two-issuers", cue => cue.IssuerOfPatientID);
        AddDisagreement(problems, claims, orders, "accession numbers", "several-orders", cue => cue.AccessionNumber);
        AddCoverage(
            problems, sitting, [.. captures.Where(capture => !cards.IsCard(capture.Id))], claims, cues.Any(cue => cue.Kind == CueKind.Label && cue.Finding is not null));
        return new Identity
        {
            PatientID = patients is [var patient] ? patient : null,
            IssuerOfPatientID = issuers is [var issuer] ? issuer : null,
            AccessionNumber = orders is [var order] ? order : null,
            AllPatientIDs = patients,
            AllAccessionNumbers = orders,
            Problems = problems,
            Evidence = [.. claims
                .Select(claim => new Reason(
                    Code(claim.Cue.Kind),
                    claim.Cue.Pattern is { } pattern ? $"{Title(claim.Cue.Kind)}, read by the pattern {pattern}" : Title(claim.Cue.Kind)))
                .Distinct(),
                .. cards.Evidence],
        };
    }

    private static bool Names(Cue cue) => cue.PatientID is not null || cue.AccessionNumber is not null;

    /// <summary>Null: the cue speaks for the whole sitting; else the place of the one picture it speaks for.</summary>
    private static string? Scope(Cue cue, Dictionary<long, string> places) => cue.Kind switch
    {
        CueKind.FileName => places.GetValueOrDefault(cue.CaptureId, ""),
        CueKind.Sidecar when places.TryGetValue(cue.CaptureId, out string? place) => Sidecar.PictureOf(place),
        _ => null,
    };

    private static string[] Distinct(Claim[] claims, Func<Claim, string?> value) =>
        [.. claims.Select(value).OfType<string>().Distinct(StringComparer.Ordinal).Order(StringComparer.Ordinal)];

    private static void AddFindings(List<Reason> problems, Sitting sitting, IReadOnlyList<Cue> cues)
    {
        if (sitting.Doubt is { } doubt)
        {
            problems.Add(new Reason("sitting-in-doubt", doubt));
        }

        bool unreadable = sitting.Begins == SittingBegins.Unreadable;
        foreach (Cue cue in cues)
        {
            if (cue.Kind == CueKind.Unreadable)
            {
                unreadable = true;
            }
            else if (cue.Finding is { } finding && !problems.Contains(finding))
            {
                problems.Add(finding);
            }
        }

        if (unreadable)
        {
            problems.Add(new Reason(
                "unreadable-picture",
                "A picture at the beginning of these, or among them, could not be looked at and may have been another patient's label; look at them and assign by hand."));
        }
    }

    private static void AddDisagreement(
        List<Reason> problems, Claim[] claims, string[] values, string what, string labelCode, Func<Cue, string?> value)
    {
        if (values.Length < 2)
        {
            return;
        }

        Claim[] naming = [.. claims.Where(claim => value(claim.Cue) is not null)];
        int labels = naming.Where(claim => claim.Cue.Kind == CueKind.Label).Select(claim => value(claim.Cue)).Distinct(StringComparer.Ordinal).Count();
        CueKind[] kinds = [.. naming.Select(claim => claim.Cue.Kind).Distinct().Order()];
        problems.Add(labels > 1 || kinds.Length == 1
            ? new Reason(labelCode, $"{Title(kinds[0], plural: true)} name {values.Length} different {what}; divide the pictures by hand.")
            : new Reason(
                "contradiction",
                $"{string.Join(" and ", kinds.Select(kind => Title(kind)))} name different {what}; find out which is right and assign by hand."));
    }

    private static void AddCoverage(List<Reason> problems, Sitting sitting, IReadOnlyList<Capture> captures, Claim[] claims, bool hasUnclearLabel)
    {
        if (claims.Any(claim => claim.Picture is null))
        {
            return;
        }

        var named = claims.Select(claim => claim.Picture).ToHashSet(StringComparer.Ordinal);
        int unnamed = captures.Count(capture => !Sidecar.IsSidecar(capture.Place) && !named.Contains(capture.Place));
        if (claims.Length > 0 && unnamed > 0)
        {
            problems.Add(new Reason("partly-identified", $"Only some of the pictures are identified by their own name or sidecar; {unnamed} are not."));
        }
        else if (claims.Length == 0 && !hasUnclearLabel)
        {
            problems.Add(sitting.Begins == SittingBegins.Late
                ? new Reason("late-pictures", "These pictures came after the sitting of their folder was closed, and no label came with them.")
                : new Reason("no-label", "Nothing says whose pictures these are: no label that a pattern knows, no sidecar, no folder or file name."));
        }
    }

    private static string Code(CueKind kind) => kind switch
    {
        CueKind.Label => "by-label",
        CueKind.Sidecar => "by-sidecar",
        CueKind.FolderName => "by-folder-name",
        _ => "by-file-name",
    };

    private static string Title(CueKind kind, bool plural = false) => (kind, plural) switch
    {
        (CueKind.Label, false) => "a label in the pictures",
        (CueKind.Label, true) => "The labels in the pictures",
        (CueKind.Sidecar, false) => "a sidecar file",
        (CueKind.Sidecar, true) => "The sidecar files",
        (CueKind.FolderName, false) => "the folder's name",
        (CueKind.FolderName, true) => "The parts of the folder's name",
        (_, false) => "the file names",
        (_, true) => "The file names",
    };

    /// <summary>A cue that names a patient or an order, and the one picture it speaks for (null: the whole sitting).</summary>
    private sealed record Claim(Cue Cue, string? Picture);
}
