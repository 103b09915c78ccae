using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Dimse;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Practice;

/// <summary>Stores what it receives as DICOM files (PS3.10) in one folder, named by SOP Instance UID. Half a file is never seen under that name.</summary>
internal sealed class PracticeArchive(string folder, ILogger logger)
{
    /// <summary>"Duplicate SOP Instance" (PS3.7 section C.5.6).</summary>
    private const ushort DuplicateSopInstance = 0x0111;

    private int _stored;

    /// <summary>Objects stored since the start, the same one sent again not counted.</summary>
    public int Stored => Volatile.Read(ref _stored);

    /// <summary>Takes one object.</summary>
    public async ValueTask<HandlerAnswer> StoreAsync(IncomingObject incoming, CancellationToken cancellation)
    {
        if (!Uids.IsValid(incoming.SOPInstanceUID))
        {
            return new HandlerAnswer(Statuses.CannotUnderstand, "Affected SOP Instance UID is no UID");
        }

        string path = Path.Combine(folder, incoming.SOPInstanceUID + ".dcm");
        string temporary = $"{path}.{Guid.NewGuid():N}.part";
        try
        {
            await WriteAsync(incoming, temporary, cancellation).ConfigureAwait(false);
            if (Check(incoming, temporary) is { } wrong)
            {
                logger.Refused(incoming.Origin.PeerName, wrong);
                return new HandlerAnswer(Statuses.DataSetDoesNotMatch, wrong);
            }

            if (File.Exists(path))
            {
                return await IsSameAsync(path, temporary, cancellation).ConfigureAwait(false)
                    ? HandlerAnswer.Success
                    : new HandlerAnswer(DuplicateSopInstance, "another object with this UID is stored");
            }

            File.Move(temporary, path, overwrite: false);
            Interlocked.Increment(ref _stored);
            logger.Stored(incoming.Origin.PeerName, incoming.SOPInstanceUID);
            return HandlerAnswer.Success;
        }
        catch (IOException full)
        {
            logger.CannotStore(folder, full.Message);
            return new HandlerAnswer(Statuses.OutOfResources, "the practice archive cannot write");
        }
        finally
        {
            File.Delete(temporary);
        }
    }

    private static async Task WriteAsync(IncomingObject incoming, string path, CancellationToken cancellation)
    {
        var meta = new FileMeta(incoming.Origin.SOPClassUID, incoming.SOPInstanceUID, incoming.Origin.TransferSyntaxUID)
        {
            SourceApplicationEntityTitle = incoming.Origin.CallingAETitle,
        };
        var file = new FileStream(path, FileMode.CreateNew, FileAccess.Write, FileShare.None, 1 << 16, useAsync: true);
        await using (file.ConfigureAwait(false))
        {
            Stream head = Part10File.Encode(meta, PixelSource.Empty).OpenRead();
            await using (head.ConfigureAwait(false))
            {
                await head.CopyToAsync(file, cancellation).ConfigureAwait(false);
            }

            await incoming.DataSet.CopyToAsync(file, cancellation).ConfigureAwait(false);
            await file.FlushAsync(cancellation).ConfigureAwait(false);
            file.Flush(flushToDisk: true);
        }
    }

    /// <returns>What is wrong, without patient data, or null.</returns>
    private static string? Check(IncomingObject incoming, string path)
    {
        try
        {
            DataSet dataSet = Part10File.Open(path).DataSet;
            return dataSet.GetString(Tags.SOPInstanceUID) != incoming.SOPInstanceUID ? "SOP Instance UID differs from the command's"
                : dataSet.GetString(Tags.SOPClassUID) != incoming.Origin.SOPClassUID ? "SOP Class UID differs from the command's"
                : null;
        }
        catch (MalformedException malformed)
        {
            return malformed.Rule.Length <= 64 ? malformed.Rule : malformed.Rule[..64];
        }
    }

    private static async Task<bool> IsSameAsync(string first, string second, CancellationToken cancellation)
    {
        byte[] one = await HashAsync(first, cancellation).ConfigureAwait(false);
        byte[] other = await HashAsync(second, cancellation).ConfigureAwait(false);
        return one.AsSpan().SequenceEqual(other);
    }

    private static async Task<byte[]> HashAsync(string path, CancellationToken cancellation)
    {
        FileStream file = File.OpenRead(path);
        await using (file.ConfigureAwait(false))
        {
            return await System.Security.Cryptography.SHA256.HashDataAsync(file, cancellation).ConfigureAwait(false);
        }
    }
}
