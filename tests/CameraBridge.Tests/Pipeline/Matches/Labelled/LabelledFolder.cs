using CameraBridge.Pipeline;

namespace CameraBridge.Tests.Pipeline.Matches.Labelled;

/// <summary>What goes wrong, or not, with a folder of labelled pictures.</summary>
internal enum Mishap
{
    /// <summary>A wristband, then the pictures.</summary>
    None,

    /// <summary>The order sheet in place of the wristband.</summary>
    Sheet,

    /// <summary>Wristband and order sheet of the same patient.</summary>
    BandAndSheet,

    /// <summary>The wristband, and the order sheet of another patient of the day that lay beside it.</summary>
    WrongSheetBeside,

    /// <summary>Only the sheet of a patient whose step is done, of another day or of another room.</summary>
    OldSheet,

    /// <summary>Two patients' labels in one picture.</summary>
    TwoLabelsInOne,

    /// <summary>The next patient in the same folder, with a label of its own.</summary>
    NextInSameFolder,

    /// <summary>The next patient's label at once, without a picture between: somebody left.</summary>
    LeftBeforePictures,

    /// <summary>The folder was named for another patient.</summary>
    SwappedFolder,

    /// <summary>A sidecar file that belongs to another folder.</summary>
    SwappedSidecar,

    /// <summary>The same pictures a second time in another folder.</summary>
    Duplicate,

    /// <summary>The folder's number had been used before, and a picture of then comes late.</summary>
    ReusedNumber,

    /// <summary>The camera's counter ran over in the middle, and two patients are in the folder.</summary>
    CounterRanOver,

    /// <summary>A picture between two patients could not be looked at.</summary>
    Unreadable,

    /// <summary>The label after the first pictures.</summary>
    LabelLate,

    /// <summary>A patient whom the worklist does not know.</summary>
    Unknown,

    /// <summary>Only on demand: the sheet of another patient of this room and day, and nothing that contradicts it. Nobody can tell that.</summary>
    WrongSheetAlone,
}

/// <summary>A folder as it comes to matching, with the truth.</summary>
/// <param name="Mishap">What went wrong.</param>
/// <param name="Begins">Why its sitting begins.</param>
/// <param name="Captures">Its captures.</param>
/// <param name="Cues">What was read from them.</param>
/// <param name="Patients">The patient of each capture that is no label.</param>
internal sealed record LabelledFolder(
    Mishap Mishap, string Begins, IReadOnlyList<Capture> Captures, IReadOnlyList<Cue> Cues, IReadOnlyDictionary<long, string> Patients);

/// <summary>What became of sittings of one kind.</summary>
internal sealed class Outcome
{
    public int Sittings { get; set; }

    public int Filed { get; set; }

    public int Wrong { get; set; }
}
