using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Practice;
using Xunit;

namespace CameraBridge.Tests.Practice;

public sealed class PracticeOrdersTests
{
    private static readonly DateOnly Today = new(2026, 11, 25);

    [Theory]
    [InlineData("today 09:30", "2026-11-25T09:30:00")]
    [InlineData("tomorrow 00:00", "2026-11-26T00:00:00")]
    [InlineData("yesterday 23:59", "2026-11-24T23:59:00")]
    [InlineData("today+6 08:00", "2026-12-01T08:00:00")]
    [InlineData("today-25 08:00", "2026-10-31T08:00:00")]
    [InlineData("2027-02-28 12:15", "2027-02-28T12:15:00")]
    public void A_start_is_a_day_or_so_many_days_from_today(string text, string expected)
    {
        Assert.Null(PracticeStart.Read(text, out PracticeStart start));
        Assert.Equal(DateTime.Parse(expected, System.Globalization.CultureInfo.InvariantCulture), start.On(Today));
    }

    [Theory]
    [InlineData("today")]
    [InlineData("09:30")]
    [InlineData("today 25:00")]
    [InlineData("someday 09:30")]
    [InlineData("today+x 09:30")]
    [InlineData("2026-02-30 09:30")]
    public void Anything_else_is_told(string text) => Assert.NotNull(PracticeStart.Read(text, out _));

    [Fact]
    public void An_order_becomes_a_worklist_item_with_the_same_study_every_time()
    {
        PracticeOrder order = Assert.Single(PracticeOrders.Parse(
            """
            orders:
              - accession_number: A0001
                patient_name: Müller^Änne
                patient_id: '0012345'
                issuer: TESTVALE
                birth_date: 1961-02-03
                sex: F
                step_id: SPS1
                station_ae_title: CAM1
                modality: ES
                description: Ear examination
                start: today 09:30
            """,
            "orders.yaml"));

        DataSet item = order.ToWorklistItem(Today);
        Assert.Equal("ISO_IR 192", item.GetString(Tags.SpecificCharacterSet));
        Assert.Equal("Müller^Änne", item.GetString(Tags.PatientName));
        Assert.Equal("0012345", item.GetString(Tags.PatientID));
        Assert.Equal(new DateOnly(1961, 2, 3), item.GetDate(Tags.PatientBirthDate));
        Assert.True(Uids.IsValid(item.GetString(Tags.StudyInstanceUID)));
        Assert.Equal(item.GetString(Tags.StudyInstanceUID), order.ToWorklistItem(Today.AddDays(1)).GetString(Tags.StudyInstanceUID));
        DataSet step = item.GetItem(Tags.ScheduledProcedureStepSequence)!;
        Assert.Equal((Today, "SPS1", "CAM1", "ES"), (step.GetDate(Tags.ScheduledProcedureStepStartDate)!.Value, step.GetString(Tags.ScheduledProcedureStepID), step.GetString(Tags.ScheduledStationAETitle), step.GetString(Tags.Modality)));
    }

    [Fact]
    public void Every_mistake_is_told_with_its_line()
    {
        ConfigurationException thrown = Assert.Throws<ConfigurationException>(() => PracticeOrders.Parse(
            """
            orders:
              - accession_number: A000100000000000000
                patient_name: X^Y
                patient_id: P1
                step_id: S1
                station_ae_title: CAM1
                modality: es
                start: whenever
                colour: red
            """,
            "orders.yaml"));

        Assert.Equal([2, 7, 8, 9], thrown.Problems.Select(problem => problem.Line).Order());
    }
}
