using System.Globalization;

namespace CameraBridge.Practice.Sticks;

/// <summary>Writes a planned stick as a camera would leave it: numbered folders, running file numbers, Exif times, file times.</summary>
internal static class StickDrawer
{
    /// <summary>Drawing costs some 30 ms a picture; beyond this many a motif's pictures come again with another comment, so that their contents still differ.</summary>
    private const int DrawingsPerMotif = 6;

    /// <param name="plan">What is to be on it.</param>
    /// <param name="folder">The stick's root; made when it is missing.</param>
    /// <param name="seed">The same seed, day and zone give the same bytes.</param>
    /// <param name="day">The day that the pictures were taken on, where their folders do not say when they begin.</param>
    /// <param name="zone">The zone of the camera's clock.</param>
    /// <param name="drawn">Told after each file.</param>
    public static void Draw(StickPlan plan, string folder, int seed, DateOnly day, TimeZoneInfo zone, Action<int>? drawn = null)
    {
        Dictionary<(Motif Motif, int Number), byte[]> drawings = [];
        Dictionary<Motif, int> counts = [];
        DateTime local = day.ToDateTime(new TimeOnly(8, 34, 10));
        int number = 0;
        foreach (StickFolder part in plan.Folders)
        {
            string below = Path.Combine(folder, part.Name);
            Directory.CreateDirectory(below);
            local = part.Begins ?? local;
            if (part.Sidecar is not null)
            {
                File.WriteAllText(Path.Combine(below, "camerabridge.json"), part.Sidecar);
            }

            foreach (Shot shot in part.Shots)
            {
                number++;
                local = local.AddSeconds(11 + (number % 7)).AddMilliseconds(137);
                DateTimeOffset takenAt = new(local, zone.GetUtcOffset(local));
                string comment = string.Create(CultureInfo.InvariantCulture, $"practice stick {seed}, picture {number}");
                byte[] file = CameraFile.Write(Jpeg(shot, seed + number), takenAt, withOffset: number % 2 == 0, comment);
                string path = Path.Combine(below, string.Create(CultureInfo.InvariantCulture, $"IMG_{number:0000}.JPG"));
                File.WriteAllBytes(path, shot is PictureShot { Torn: true } ? file[..(file.Length * 3 / 5)] : file);
                File.SetLastWriteTimeUtc(path, takenAt.UtcDateTime);
                drawn?.Invoke(number);
            }

            local = local.AddMinutes(6);
        }

        byte[] Jpeg(Shot shot, int own)
        {
            if (shot is not PictureShot picture)
            {
                return DrawnLabel.Draw(((LabelShot)shot).Codes, own);
            }

            int count = counts[picture.Motif] = counts.GetValueOrDefault(picture.Motif) + 1;
            (Motif, int) key = (picture.Motif, count % DrawingsPerMotif);
            if (!drawings.TryGetValue(key, out byte[]? drawing))
            {
                drawings[key] = drawing = DrawnPicture.Draw(picture.Motif, own);
            }

            return drawing;
        }
    }
}
