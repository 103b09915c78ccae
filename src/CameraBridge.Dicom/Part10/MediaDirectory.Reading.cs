using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Part10;

/// <content>
/// Reading, of what this library wrote alone: a directory is taken to be extended only when writing it again gives the very same bytes, which also proves
/// every offset in it. So nothing that another program added, moved or switched off is lost by us.
/// </content>
public sealed partial class MediaDirectory
{
    private const int LargestFile = 512 * 1024 * 1024;

    /// <summary>An image has up to some twenty elements in its record.</summary>
    private static readonly ReadLimits Limits = ReadLimits.Default with { MaxElements = 20_000_000 };

    /// <summary>Reads the file DICOMDIR of a file-set that this library made.</summary>
    /// <exception cref="MediaDirectoryException">Another program wrote or changed it, or it is damaged.</exception>
    /// <exception cref="IOException">It cannot be read.</exception>
    public static async Task<MediaDirectory> ReadAsync(string path, CancellationToken cancellationToken = default)
    {
        ArgumentException.ThrowIfNullOrEmpty(path);
        if (new FileInfo(path).Length > LargestFile)
        {
            throw new MediaDirectoryException("It is larger than any that this program writes.");
        }

        return Read(await File.ReadAllBytesAsync(path, cancellationToken).ConfigureAwait(false));
    }

    /// <summary>Reads one that is in memory.</summary>
    /// <exception cref="MediaDirectoryException">Another program wrote or changed it, or it is damaged.</exception>
    public static MediaDirectory Read(ReadOnlyMemory<byte> bytes)
    {
        try
        {
            Part10File file = Part10File.Read(bytes, Limits);
            if (file.Meta.MediaStorageSOPClassUID != SopClasses.MediaStorageDirectoryStorage)
            {
                throw new MediaDirectoryException("It is no media directory (PS3.10 8.6).");
            }

            if (file.Meta.ImplementationClassUID != FileMeta.OwnImplementationClassUID)
            {
                throw new MediaDirectoryException("Another program wrote it.");
            }

            var directory = new MediaDirectory(file.Meta.MediaStorageSOPInstanceUID, file.DataSet.GetString(Tags.FileSetID) ?? "");
            directory.Take(file.DataSet.GetItems(Tags.DirectoryRecordSequence));
            byte[] again = new byte[bytes.Length];
            PixelSource encoded = directory.Encode(file.Meta);
            using Stream stream = encoded.OpenRead();
            return encoded.Length == bytes.Length && stream.ReadAtLeast(again, again.Length, throwOnEndOfStream: false) == again.Length && bytes.Span.SequenceEqual(again)
                ? directory
                : throw new MediaDirectoryException("Another program changed it, or it is damaged.");
        }
        catch (Exception broken) when (broken is MalformedException or ArgumentException)
        {
            throw new MediaDirectoryException("It is damaged: it cannot be read as a media directory.");
        }
    }

    private void Take(IReadOnlyList<DataSet> items)
    {
        Record last = root;
        foreach (DataSet item in items)
        {
            int depth = Array.FindIndex(Levels, level => level.Type == item.GetString(Tags.DirectoryRecordType));
            Record? above = last;
            while (above is not null && above.Depth >= depth)
            {
                above = above.Parent;
            }

            // The root's depth is -1: a type that is none of ours ends above it.
            if (above?.Depth != depth - 1 || item.GetString(Levels[depth].Key) is not { } key)
            {
                throw new MediaDirectoryException("Its records are not those that this program writes.");
            }

            if (item.GetInt32(Tags.RecordInUseFlag) != InUse)
            {
                throw new MediaDirectoryException("Another program changed it: a record in it is switched off.");
            }

            last = new Record(above, item.Clone(), "");
            above.Children.Add(last);
            if (!known[depth].TryAdd(key, last))
            {
                throw new MediaDirectoryException("One of its records is there twice.");
            }

            if (depth == Images)
            {
                NameByFile(last);
            }
        }

        if (root.Descendants().Any(record => record.Name.Length == 0))
        {
            throw new MediaDirectoryException("A record in it has no file.");
        }
    }

    /// <summary>The name of a file is the names of the records above it and its own: the first file below a record tells the record's.</summary>
    private static void NameByFile(Record image)
    {
        DataSet data = image.Data;
        string fileID = string.Join('\\', data.GetStrings(Tags.ReferencedFileID));
        string[] names = fileID.Split('\\');
        image.File = new MediaFile(
            fileID,
            data.GetString(Tags.ReferencedSOPClassUIDInFile) ?? "",
            data.GetString(Tags.ReferencedSOPInstanceUIDInFile) ?? "",
            data.GetString(Tags.ReferencedTransferSyntaxUIDInFile) ?? "");
        if (names.Length != Levels.Length)
        {
            throw new MediaDirectoryException("A file in it has a name that this program does not give.");
        }

        Record? record = image;
        for (int depth = Levels.Length - 1; depth >= 0; depth--, record = record.Parent)
        {
            if (record!.Name.Length > 0 ? record.Name != names[depth] : !TryName(record, names[depth], Levels[depth].Prefix))
            {
                throw new MediaDirectoryException("A file in it has a name that this program does not give.");
            }
        }
    }

    private static bool TryName(Record record, string name, string prefix)
    {
        Record parent = record.Parent!;
        if (!name.StartsWith(prefix, StringComparison.Ordinal) || name.Length != MediaFileID.MaxComponentLength
            || !int.TryParse(name.AsSpan(prefix.Length), NumberStyles.None, CultureInfo.InvariantCulture, out int number) || number <= parent.LastNumber)
        {
            return false;
        }

        record.Name = name;
        parent.LastNumber = number;
        return true;
    }
}
