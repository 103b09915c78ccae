namespace CameraBridge.Pipeline.Sittings;

/// <summary>Whose pictures follow, as a label says it.</summary>
internal sealed record Label(string? PatientID, string? IssuerOfPatientID, string? AccessionNumber)
{
    public static Label Of(Cue cue) => new(cue.PatientID, cue.IssuerOfPatientID, cue.AccessionNumber);

    /// <summary>Whether everything this label says was said by the other one.</summary>
    public bool IsSaidBy(Label other) =>
        (PatientID is null || PatientID == other.PatientID)
        && (IssuerOfPatientID is null || IssuerOfPatientID == other.IssuerOfPatientID)
        && (AccessionNumber is null || AccessionNumber == other.AccessionNumber);

    /// <summary>Whether the two say different things of the same.</summary>
    public bool Contradicts(Label other) =>
        Differ(PatientID, other.PatientID) || Differ(IssuerOfPatientID, other.IssuerOfPatientID) || Differ(AccessionNumber, other.AccessionNumber);

    /// <summary>What the two say together.</summary>
    public Label With(Label other) =>
        new(PatientID ?? other.PatientID, IssuerOfPatientID ?? other.IssuerOfPatientID, AccessionNumber ?? other.AccessionNumber);

    private static bool Differ(string? a, string? b) => a is not null && b is not null && a != b;
}
