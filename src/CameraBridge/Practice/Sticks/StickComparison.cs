using System.Globalization;
using CameraBridge.Commands;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Pipeline;

namespace CameraBridge.Practice.Sticks;

/// <summary>One expectation and what was found in its place.</summary>
internal sealed record TruthLine(string Folder, string Expected, string Found, bool Good);

/// <summary>Lays the truth of a drawn stick beside the report of the run and the objects that the archive really has.</summary>
internal static class StickComparison
{
    public static async Task<IReadOnlyList<TruthLine>> CompareAsync(StickTruth truth, OnceReply report, string archive, CancellationToken cancellation)
    {
        Dictionary<string, List<(int Number, string Side)>> archived = await ReadArchivedAsync(archive, cancellation).ConfigureAwait(false);
        List<TruthLine> lines = [];
        foreach (ExpectedFiled expected in truth.Filed)
        {
            int reported = report.Sittings
                .Where(sitting => sitting.Folder == expected.Folder && sitting.Step?.AccessionNumber == expected.AccessionNumber)
                .Sum(sitting => sitting.Deliveries.Count > 0 ? sitting.Deliveries.Min(delivery => delivery.Delivered) : 0);
            List<(int Number, string Side)> objects = archived.GetValueOrDefault(expected.AccessionNumber, []);
            int there = objects.Count;
            string sides = string.Concat(objects.OrderBy(made => made.Number).Select(made => made.Side));
            lines.Add(new TruthLine(
                expected.Folder,
                Words(expected.Pictures, $"filed under {expected.AccessionNumber}") + (expected.Sides is null ? "" : $", sides {expected.Sides}"),
                $"{Words(reported, "reported")}, {there.ToString(CultureInfo.InvariantCulture)} in the archive{(expected.Sides is null ? "" : $", sides {sides}")}",
                reported == expected.Pictures && there == expected.Pictures && (expected.Sides is null || expected.Sides == sides)));
        }

        foreach (ExpectedHeld expected in truth.Held)
        {
            int held = report.Sittings.Where(sitting => sitting.Folder == expected.Folder)
                .Sum(sitting => sitting.State == SittingState.Held ? sitting.Captures : sitting.HeldCaptures.Count);
            lines.Add(new TruthLine(expected.Folder, $"{Words(expected.Captures, "held")}: {expected.Why}", Words(held, "held"), held == expected.Captures));
        }

        int wanted = truth.Filed.Sum(filed => filed.Pictures);
        int all = archived.Values.Sum(objects => objects.Count);
        lines.Add(new TruthLine("all", Words(wanted, "in the archive"), Words(all, "in the archive"), wanted == all));
        return [.. lines.OrderBy(line => line.Folder, StringComparer.Ordinal)];
    }

    /// <summary>Objects in the archive's folder by accession number, each SOP Instance UID counted once: Instance Number and Image Laterality.</summary>
    private static async Task<Dictionary<string, List<(int Number, string Side)>>> ReadArchivedAsync(string archive, CancellationToken cancellation)
    {
        Dictionary<string, List<(int Number, string Side)>> objects = new(StringComparer.Ordinal);
        HashSet<string> seen = new(StringComparer.Ordinal);
        foreach (string path in Directory.EnumerateFiles(archive, "*.dcm", SearchOption.AllDirectories))
        {
            Part10File file = await Part10File.OpenAsync(path, cancellationToken: cancellation).ConfigureAwait(false);
            if (seen.Add(file.DataSet.GetString(Tags.SOPInstanceUID) ?? path))
            {
                string order = file.DataSet.GetString(Tags.AccessionNumber) ?? "";
                if (!objects.TryGetValue(order, out List<(int Number, string Side)>? ofOrder))
                {
                    objects.Add(order, ofOrder = []);
                }

                ofOrder.Add((file.DataSet.GetInt32(Tags.InstanceNumber) ?? 0, file.DataSet.GetString(Tags.ImageLaterality) ?? "-"));
            }
        }

        return objects;
    }

    private static string Words(int count, string what) => string.Create(CultureInfo.InvariantCulture, $"{count} {what}");
}
