using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Deliveries;

namespace CameraBridge.Commands.Exports;

/// <summary>What to copy.</summary>
/// <param name="Sittings">Numbers of sittings, each once.</param>
/// <param name="ProfileOnly">Only what the profile takes.</param>
/// <param name="UnconfirmedOnly">Only what not every destination is known to keep.</param>
internal sealed record ExportOrder(IReadOnlyList<long> Sittings, bool ProfileOnly, bool UnconfirmedOnly);

/// <summary>
/// Copies objects of sittings into a media folder: first everything is looked at, and refused as a whole where it cannot stand in one file-set; then each object
/// is written, read back and compared. It reads the state and changes nothing there: a copy confirms nothing.
/// </summary>
internal sealed class MediaExport(SiteConfiguration site, IPipelineDatabase database, MediaFolder folder, ExportOrder order, Progress progress)
{
    /// <summary>For the directory, the text and what a file system needs for itself.</summary>
    private const long Reserve = 4L << 20;

    private readonly List<ExportedSitting> _sittings = [];
    private int _done;

    /// <exception cref="CommandException">It cannot be done; the message says why and what to do.</exception>
    public async Task<ExportReply> RunAsync(DateTimeOffset now, CancellationToken cancellation)
    {
        foreach (long sittingId in order.Sittings)
        {
            _sittings.Add(await PlanAsync(sittingId, cancellation).ConfigureAwait(false));
        }

        ExportedObject[] wanted = [.. Objects.Where(one => one.FileID is not null)];
        if (wanted.Length == 0)
        {
            return Reply(changed: false, leftovers: 0);
        }

        long needed = wanted.Where(one => one.State == ExportState.Written).Sum(one => one.Size) + Reserve;
        try
        {
            if (folder.FreeBytes < needed)
            {
                throw new CommandException(
                    ExitCodes.Undelivered, "no-room", FormattableString.Invariant($"{folder.Folder} has {folder.FreeBytes} bytes free, and {needed} are needed. Nothing was written."));
            }

            int leftovers = folder.Begin();
            await WriteAsync(cancellation).ConfigureAwait(false);
            ExportReply reply = Reply(changed: true, leftovers);
            await folder.FinishAsync(Readme.Write(reply, now), cancellation).ConfigureAwait(false);
            return reply;
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            foreach (ExportedObject one in wanted.Where(one => one is { State: ExportState.Written, Sha256: not null }))
            {
                folder.Discard(FileOf(one));
            }

            throw MediaFolder.Failed(folder.Folder, error);
        }
    }

    private IEnumerable<ExportedObject> Objects => _sittings.SelectMany(sitting => sitting.Objects);

    private async Task<ExportedSitting> PlanAsync(long sittingId, CancellationToken cancellation)
    {
        SittingContents contents = await database.GetContentsAsync(sittingId, cancellation).ConfigureAwait(false)
            ?? throw new CommandException(
                ExitCodes.UsageOrConfiguration, "no-such-sitting", FormattableString.Invariant($"There is no sitting {sittingId}. Nothing was written."));
        Dictionary<long, string> places = contents.Captures.ToDictionary(capture => capture.Id, capture => capture.Place);
        ILookup<long, Delivery> deliveries = contents.Deliveries.ToLookup(delivery => delivery.ImagingObjectId);
        List<ExportedObject> objects = [];
        foreach (ImagingObject made in contents.Objects)
        {
            if (!order.UnconfirmedOnly || !IsKept(deliveries[made.Id]))
            {
                objects.Add(Plan(made, places[made.CaptureId]));
            }
        }

        return new ExportedSitting
        {
            Sitting = sittingId,
            Source = contents.Sitting.Source,
            Folder = contents.Sitting.Folder,
            State = contents.Sitting.State,
            HeldCaptures = contents.Captures.Count(capture => capture.State == CaptureState.Held),
            UnfinishedCaptures = contents.Sitting.State is SittingState.Held or SittingState.Empty
                ? 0
                : contents.Captures.Count(capture => capture.State is CaptureState.Taken or CaptureState.Read),
            Objects = objects,
        };
    }

    /// <summary>Every destination's word is needed; where there is no destination, nobody keeps it.</summary>
    private static bool IsKept(IEnumerable<Delivery> deliveries)
    {
        Delivery[] all = [.. deliveries];
        return all.Length > 0 && all.All(delivery => delivery.Confirmation?.State == ConfirmationState.Kept);
    }

    private ExportedObject Plan(ImagingObject made, string place)
    {
        var planned = new ExportedObject
        {
            SOPInstanceUID = made.SOPInstanceUID,
            Place = place,
            TransferSyntax = UidRegistry.NameOf(made.TransferSyntaxUID),
            InProfile = MediaProfile.Takes(made.TransferSyntaxUID),
        };
        if (folder.Directory.Find(made.SOPInstanceUID) is { } there)
        {
            (planned.FileID, planned.State) = (there.ReferencedFileID, ExportState.There);
            return planned;
        }

        if (order.ProfileOnly && !planned.InProfile)
        {
            return LeaveOut(planned, $"{MediaProfile.GeneralUsbJpeg} does not take its transfer syntax.", failed: false);
        }

        try
        {
            planned.Size = File(made).Length;
            if (planned.Size > folder.LargestFile)
            {
                return LeaveOut(planned, "It is larger than the 4 GiB that the medium's file system can hold; use one with another file system.", failed: true);
            }

            DataSet image = ElementReader.Read(Encoded(made), TransferSyntax.Find(made.TransferSyntaxUID)!);
            planned.FileID = folder.Directory.Add(image, made.TransferSyntaxUID).ReferencedFileID;
            return planned;
        }
        catch (UnreadableObjectException unreadable)
        {
            return LeaveOut(planned, Unreadable(unreadable), failed: true);
        }
        catch (MediaDirectoryException conflict)
        {
            throw new CommandException(
                ExitCodes.UsageOrConfiguration, "conflict",
                FormattableString.Invariant($"{place} of sitting {made.SittingId} cannot stand in one folder with the others: {conflict.Message} Export that sitting into a folder of its own. Nothing was written."));
        }
    }

    private async Task WriteAsync(CancellationToken cancellation)
    {
        int total = 2 * Objects.Count(one => one.FileID is not null);
        foreach (ExportedSitting sitting in _sittings.Where(sitting => sitting.Objects.Any(one => one.FileID is not null)))
        {
            SittingContents contents = (await database.GetContentsAsync(sitting.Sitting, cancellation).ConfigureAwait(false))!;
            Dictionary<string, ImagingObject> made = contents.Objects.ToDictionary(one => one.SOPInstanceUID, StringComparer.Ordinal);
            foreach (ExportedObject one in sitting.Objects.Where(one => one.FileID is not null))
            {
                await WriteAsync(one, made[one.SOPInstanceUID], cancellation).ConfigureAwait(false);
                progress.Report(++_done, total, "");
            }
        }

        folder.SyncNames();
        foreach (ExportedObject one in Objects.Where(one => one is { State: ExportState.Written, FileID: not null }))
        {
            if (await folder.ReadBackAsync(FileOf(one), cancellation).ConfigureAwait(false) != one.Sha256)
            {
                folder.Discard(FileOf(one));
                Drop(one, "What was read back is not what was written: the medium is faulty. Use another one.");
            }

            progress.Report(++_done, total, "");
        }
    }

    private async Task WriteAsync(ExportedObject one, ImagingObject made, CancellationToken cancellation)
    {
        MediaFile file = FileOf(one);
        try
        {
            if (one.State == ExportState.There)
            {
                one.Size = File(made).Length;
                string? there = await folder.ReadBackAsync(file, cancellation).ConfigureAwait(false);
                one.Sha256 = await HashedCopy.HashAsync(File(made), cancellation).ConfigureAwait(false);
                if (there == one.Sha256)
                {
                    return;
                }

                (one.State, one.Reason) = (ExportState.Written, "The file that was there was damaged, and was written anew.");
            }

            one.Sha256 = await folder.WriteAsync(file, File(made), cancellation).ConfigureAwait(false);
        }
        catch (UnreadableObjectException unreadable)
        {
            if (one.State == ExportState.There)
            {
                one.Reason = $"It is in the folder from before, but was not compared. {Unreadable(unreadable)}";
            }
            else
            {
                Drop(one, Unreadable(unreadable));
            }
        }
    }

    private PixelSource File(ImagingObject made) => Part10File.Encode(
        new FileMeta(made.SOPClassUID, made.SOPInstanceUID, made.TransferSyntaxUID) { SourceApplicationEntityTitle = site.CallingAETitle }, Encoded(made));

    /// <exception cref="UnreadableObjectException">A file of it in the spool is missing or shorter than it was.</exception>
    private PixelSource Encoded(ImagingObject made)
    {
        try
        {
            return SpooledObject.Locate(made, site.SpoolFolder);
        }
        catch (Exception error) when (error is IOException or UnauthorizedAccessException)
        {
            throw new UnreadableObjectException(error.Message, error);
        }
    }

    private MediaFile FileOf(ExportedObject one) => folder.Directory.Find(one.SOPInstanceUID)!;

    private void Drop(ExportedObject one, string reason)
    {
        folder.Directory.Remove(one.SOPInstanceUID);
        LeaveOut(one, reason, failed: true);
    }

    private static ExportedObject LeaveOut(ExportedObject one, string reason, bool failed)
    {
        (one.State, one.FileID, one.Sha256, one.Reason, one.Failed) = (ExportState.LeftOut, null, null, reason, failed);
        return one;
    }

    private static string Unreadable(Exception error) =>
        $"A file of it in the spool cannot be read: {error.Message.TrimEnd('.')}. Restore the spool from a backup, or take the source again.";

    private ExportReply Reply(bool changed, int leftovers)
    {
        (int patients, int studies, int series, int images) = folder.Directory.Counts;
        bool isHeld = _sittings.Any(sitting => sitting.IsHeld);
        bool isUnfinished = _sittings.Any(sitting => sitting.UnfinishedCaptures > 0) || Objects.Any(one => one.Failed);
        return new ExportReply
        {
            Folder = folder.Folder,
            Changed = changed,
            FileSetID = changed ? folder.Directory.FileSetID : null,
            FileSetUID = changed ? folder.Directory.FileSetUID : null,
            Profile = MediaProfile.GeneralUsbJpeg,
            WithinProfile = folder.Directory.Files.All(file => MediaProfile.Takes(file.TransferSyntaxUID)),
            Patients = patients,
            Studies = studies,
            Series = series,
            Files = images,
            Written = Objects.Count(one => one.State == ExportState.Written),
            There = Objects.Count(one => one.State == ExportState.There),
            LeftOut = Objects.Count(one => one.State == ExportState.LeftOut),
            BytesWritten = Objects.Where(one => one.State == ExportState.Written).Sum(one => one.Size),
            LeftoversRemoved = leftovers,
            Sittings = _sittings,
            ExitCode = ExitCodes.Of(isHeld, isUnfinished),
        };
    }
}
