using System.Globalization;

namespace CameraBridge.Commands.Exports;

/// <summary>What an export came to, for people.</summary>
internal static class ExportText
{
    private const int MostPlaces = 5;

    public static void Write(TextWriter writer, ExportReply reply)
    {
        if (reply.Sittings.Count == 0)
        {
            writer.WriteLine("There is no sitting to export. Nothing was written.");
            return;
        }

        TextTable.Write(
            writer,
            ["sitting", "source", "folder", "state", "written", "there", "left out", "held", "unfinished"],
            reply.Sittings.Select(sitting => (IReadOnlyList<string>)
            [
                Number(sitting.Sitting), sitting.Source, sitting.Folder.Length == 0 ? "(top)" : sitting.Folder, sitting.State.ToString().ToLowerInvariant(),
                Number(sitting.Count(ExportState.Written)), Number(sitting.Count(ExportState.There)), Number(sitting.Count(ExportState.LeftOut)),
                Number(sitting.HeldCaptures), Number(sitting.UnfinishedCaptures),
            ]));
        writer.WriteLine();
        ExportedObject[] objects = [.. reply.Sittings.SelectMany(sitting => sitting.Objects)];
        foreach (IGrouping<string, ExportedObject> alike in objects.Where(one => one.State == ExportState.LeftOut).GroupBy(one => one.Reason!))
        {
            writer.WriteLine($"Left out: {Places(alike)}: {alike.Key}");
        }

        foreach (IGrouping<string, ExportedObject> alike in objects.Where(one => one.State != ExportState.LeftOut && one.Reason is not null).GroupBy(one => one.Reason!))
        {
            writer.WriteLine($"{Places(alike)}: {alike.Key}");
        }

        ExportedObject[] outside = [.. objects.Where(one => one.State != ExportState.LeftOut && !one.InProfile)];
        if (outside.Length > 0)
        {
            writer.WriteLine($"In the folder, but not taken by {reply.Profile}: {Places(outside)} ({string.Join(", ", outside.Select(one => one.TransferSyntax).Distinct())}). Readers of stills will not show them; --profile-only leaves them out.");
        }

        if (reply.LeftoversRemoved > 0)
        {
            writer.WriteLine(FormattableString.Invariant($"{reply.LeftoversRemoved} file(s) of an export that was broken off were removed."));
        }

        if (!reply.Changed)
        {
            writer.WriteLine("There is nothing to export. Nothing was written.");
        }
        else
        {
            writer.WriteLine(string.Create(
                CultureInfo.InvariantCulture,
                $"{reply.Written} object(s) written ({reply.BytesWritten / 1e6:0.0} MB), synced, read back and compared; {reply.There} were there. {reply.Folder} is file-set {reply.FileSetID}: {reply.Patients} patient(s), {reply.Studies} study(ies), {reply.Series} series, {reply.Files} file(s), {(reply.WithinProfile ? $"all within {reply.Profile}" : $"not within {reply.Profile} as a whole")}."));
            writer.WriteLine("On a stick for other hospitals (FAT16 or FAT32) its contents have to lie at the top, beside no other file-set (PS3.12 Annex R).");
        }

        writer.WriteLine("It is a copy and no confirmation: what is queued stays queued, and no source is released because of it. The folder holds patients' pictures with their names.");
        if (reply.Sittings.Any(sitting => sitting.IsHeld))
        {
            writer.WriteLine("What is held is no object yet and was not copied: 'camerabridge held list' shows it.");
        }

        if (reply.Sittings.Any(sitting => sitting.UnfinishedCaptures > 0))
        {
            writer.WriteLine("What is unfinished is on its way through the flow: run the export again later, into the same folder.");
        }
    }

    private static string Places(IEnumerable<ExportedObject> some)
    {
        string[] places = [.. some.Select(one => one.Place)];
        return string.Join(", ", places.Take(MostPlaces)) + (places.Length > MostPlaces ? FormattableString.Invariant($" and {places.Length - MostPlaces} more") : "");
    }

    private static string Number(long number) => number.ToString(CultureInfo.InvariantCulture);
}
