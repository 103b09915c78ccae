using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Part10;

/// <content>Encoding: each record is followed by those below it; the same directory always gives the same bytes.</content>
public sealed partial class MediaDirectory
{
    private const int ItemHeaderLength = 8, LongHeaderLength = 12;

    /// <summary>The bytes of the file DICOMDIR, explicit little endian (PS3.10 section 8.6).</summary>
    /// <param name="meta">
    /// Who writes it; null for this library. Its SOP class, instance and transfer syntax are those of a directory, whatever it says.
    /// </param>
    /// <exception cref="ArgumentException">It would be longer than the 4 GiB that its offsets can tell.</exception>
    public PixelSource Encode(FileMeta? meta = null)
    {
        FileMeta own = (meta ?? new FileMeta("", "", "")) with
        {
            MediaStorageSOPClassUID = SopClasses.MediaStorageDirectoryStorage,
            MediaStorageSOPInstanceUID = FileSetUID,
            TransferSyntaxUID = TransferSyntaxes.ExplicitVRLittleEndian,
        };
        var directory = new DataSet();
        directory.Set(Tags.FileSetID, FileSetID);
        directory.SetInt(Tags.OffsetOfTheFirstDirectoryRecordOfTheRootDirectoryEntity, 0L);
        directory.SetInt(Tags.OffsetOfTheLastDirectoryRecordOfTheRootDirectoryEntity, 0L);
        directory.SetInt(Tags.FileSetConsistencyFlag, 0L);

        // Offsets count from the first byte of the file, preamble and prefix included (PS3.3 table F.3-3, note).
        long before = Part10File.Encode(own, ElementWriter.Encode(directory, TransferSyntax.ExplicitLittleEndian)).Length + LongHeaderLength;
        List<Record> records = [.. root.Descendants()];
        Dictionary<Record, long> offsets = Place(records, before);
        Link(root, offsets);
        if (root.Children.Count > 0)
        {
            directory.SetInt(Tags.OffsetOfTheFirstDirectoryRecordOfTheRootDirectoryEntity, offsets[root.Children[0]]);
            directory.SetInt(Tags.OffsetOfTheLastDirectoryRecordOfTheRootDirectoryEntity, offsets[root.Children[^1]]);
        }

        // Each record declares the character set of its own text, so they are no longer items of this data set once it is encoded.
        directory.Put(Element.FromItems(Tags.DirectoryRecordSequence, [.. records.Select(record => record.Data)]));
        PixelSource encoded = Part10File.Encode(own, ElementWriter.Encode(directory, TransferSyntax.ExplicitLittleEndian));
        directory.Remove(Tags.DirectoryRecordSequence);
        return encoded;
    }

    /// <summary>Offsets have a fixed length, so where a record stands does not depend on what they are.</summary>
    private static Dictionary<Record, long> Place(List<Record> records, long start)
    {
        var offsets = new Dictionary<Record, long>(records.Count);
        foreach (Record record in records)
        {
            offsets.Add(record, start);
            start += ItemHeaderLength + ElementWriter.Encode(record.Data, TransferSyntax.ExplicitLittleEndian).Length;
        }

        return start <= uint.MaxValue
            ? offsets
            : throw new ArgumentException("The directory would be longer than the 4 GiB that its offsets can tell (PS3.3 F.3.2.2).");
    }

    private static void Link(Record above, Dictionary<Record, long> offsets)
    {
        for (int at = 0; at < above.Children.Count; at++)
        {
            Record record = above.Children[at];
            record.Data.SetInt(Tags.OffsetOfTheNextDirectoryRecord, at + 1 < above.Children.Count ? offsets[above.Children[at + 1]] : 0);
            record.Data.SetInt(Tags.OffsetOfReferencedLowerLevelDirectoryEntity, record.Children.Count > 0 ? offsets[record.Children[0]] : 0);
            Link(record, offsets);
        }
    }
}
