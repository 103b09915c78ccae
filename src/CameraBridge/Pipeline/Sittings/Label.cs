namespace CameraBridge.Pipeline.Sittings;

/// <summary>Whose pictures follow, as a label says it.</summary>
internal sealed record Label(string? PatientID, string? IssuerOfPatientID, string? AccessionNumber)
{
    /// <summary>It is a label, and whose is not known: it was misread, or is damaged.</summary>
    public bool IsUnclear { get; private init; }

    public static Label Of(Cue cue) => new(cue.PatientID, cue.IssuerOfPatientID, cue.AccessionNumber) { IsUnclear = cue.Finding is not null };

    /// <summary>Whether everything this label says was said by the other one. What an unclear label says, only another unclear one may say too.</summary>
    public bool IsSaidBy(Label other) =>
        IsUnclear == other.IsUnclear
        && (PatientID is null || PatientID == other.PatientID)
        && (IssuerOfPatientID is null || IssuerOfPatientID == other.IssuerOfPatientID)
        && (AccessionNumber is null || AccessionNumber == other.AccessionNumber);

    /// <summary>Whether the two say different things of the same.</summary>
    public bool Contradicts(Label other) =>
        IsUnclear != other.IsUnclear || Differ(PatientID, other.PatientID) || Differ(IssuerOfPatientID, other.IssuerOfPatientID) || Differ(AccessionNumber, other.AccessionNumber);

    /// <summary>What the two say together.</summary>
    public Label With(Label other) =>
        new(PatientID ?? other.PatientID, IssuerOfPatientID ?? other.IssuerOfPatientID, AccessionNumber ?? other.AccessionNumber) { IsUnclear = IsUnclear };

    private static bool Differ(string? a, string? b) => a is not null && b is not null && a != b;
}
