using System.Globalization;
using System.Text;

namespace CameraBridge.Practice.Sticks;

/// <summary>Writes invented orders as the file that feeds the practice hospital.</summary>
internal static class StickOrders
{
    public static string Write(IReadOnlyList<StickOrder> orders)
    {
        StringBuilder text = new("# Invented orders of the practice hospital. Nobody of these lives.\norders:\n");
        int number = 0;
        foreach (StickOrder order in orders)
        {
            number++;
            text.Append(CultureInfo.InvariantCulture, $"""
                  - accession_number: {order.AccessionNumber}
                    patient_name: {order.PatientName}
                    patient_id: '{order.PatientID}'
                    issuer: {StickPlan.Issuer}
                    birth_date: {order.PatientBirthDate:yyyy-MM-dd}
                    sex: {order.PatientSex}
                    step_id: SPS{number:0000}
                    station_ae_title: {order.StationAETitle}
                    modality: {order.Modality}
                    description: {order.Description}
                    start: {order.ScheduledAt:yyyy-MM-dd HH:mm}{(order.Side is null ? "" : $"\n    side: {order.Side}")}

                """);
        }

        return text.ToString();
    }
}
