using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches.Labelled;

/// <summary>With a label on each sitting nothing is filed under another patient, whatever goes wrong with labels. Many more: the verb labelled of the benchmarks.</summary>
public sealed class LabelledClinicTests
{
    [Fact]
    public void No_mishap_with_labels_files_a_picture_under_another_patient()
    {
        IReadOnlyDictionary<Mishap, Outcome> outcomes = new LabelledClinic(seed: 1).Run(3000);

        Assert.All(outcomes, outcome => Assert.Equal(0, outcome.Value.Wrong));
        Assert.All(
            Enum.GetValues<Mishap>().Where(mishap => mishap != Mishap.WrongSheetAlone),
            mishap => Assert.True(outcomes[mishap].Sittings > 20));
    }

    [Fact]
    public void What_has_a_clear_label_is_filed()
    {
        IReadOnlyDictionary<Mishap, Outcome> outcomes = new LabelledClinic(seed: 2).Run(3000);

        // One patient in twelve has two open steps in this room, of which a wristband cannot choose; an order sheet can.
        Assert.InRange((double)outcomes[Mishap.None].Filed / outcomes[Mishap.None].Sittings, 0.85, 0.98);
        Assert.Equal(outcomes[Mishap.BandAndSheet].Sittings, outcomes[Mishap.BandAndSheet].Filed);
        Assert.Equal(0, outcomes[Mishap.WrongSheetBeside].Filed);
        Assert.Equal(0, outcomes[Mishap.TwoLabelsInOne].Filed);
        Assert.Equal(0, outcomes[Mishap.OldSheet].Filed);
        Assert.Equal(0, outcomes[Mishap.SwappedFolder].Filed);
    }

    [Fact]
    public void Only_a_lone_sheet_of_another_patient_of_the_room_and_day_cannot_be_told()
    {
        IReadOnlyDictionary<Mishap, Outcome> outcomes = new LabelledClinic(seed: 3, loneWrongSheets: 0.1).Run(1000);

        Assert.True(outcomes[Mishap.WrongSheetAlone].Wrong > 0);
        Assert.All(outcomes.Where(outcome => outcome.Key != Mishap.WrongSheetAlone), outcome => Assert.Equal(0, outcome.Value.Wrong));
    }
}
