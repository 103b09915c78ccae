using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Tests.Dicom.Iods;
using Xunit;

namespace CameraBridge.Tests.Dicom.Part10;

/// <summary>The directory of a file-set: PS3.3 Annex F and PS3.10 section 8. Outside programs judge it in <see cref="MediaPeersTests"/>.</summary>
public sealed class MediaDirectoryTests
{
    private const string Jpeg = TransferSyntaxes.JPEGBaseline8Bit;

    [Theory]
    // PS3.10 8.2 and 8.5: 1 to 8 components of 1 to 8 characters of A-Z, 0-9 and underscore.
    [InlineData("DICOMDIR", true)]
    [InlineData(@"SUBDIR1\SUBDIR2\SUBDIR3\ABCDEFGH", true)] // the example of 8.2, note 2
    [InlineData(@"A\B\C\D\E\F\G\H", true)]
    [InlineData(@"A\B\C\D\E\F\G\H\I", false)]
    [InlineData("ABCDEFGHI", false)]
    [InlineData("README.TXT", false)]
    [InlineData("im1", false)]
    [InlineData("A B", false)]
    [InlineData(@"A\..\B", false)]
    [InlineData(@"A\\B", false)]
    [InlineData("/A", false)]
    [InlineData("Ä", false)]
    [InlineData("", false)]
    [InlineData(null, false)]
    public void File_IDs_have_the_form_of_the_standard(string? fileID, bool isOne) => Assert.Equal(isOne, MediaFileID.IsFileID(fileID));

    [Fact]
    public void No_path_outside_the_file_set_comes_of_a_file_ID()
    {
        Assert.Equal("/media/stick/A/B1", MediaFileID.ToPath("/media/stick", @"A\B1"));
        Assert.Throws<ArgumentException>(() => MediaFileID.ToPath("/media/stick", @"..\B1"));
        Assert.Throws<ArgumentException>(() => MediaFileID.ToPath("/media/stick", "/etc/passwd"));
    }

    [Theory]
    [InlineData("CB_20261125_1855", true)]
    [InlineData("CB_20261125_18550", false)] // 17 characters
    [InlineData("CB 1", false)] // no space: PS3.10 8.5, note 1
    [InlineData("", false)]
    public void File_set_IDs_have_the_form_of_the_standard(string fileSetID, bool isOne)
    {
        Assert.Equal(isOne, MediaFileID.IsFileSetID(fileSetID));
        Assert.Equal(isOne, Record.Exception(() => new MediaDirectory("2.25.1", fileSetID)) is null);
    }

    [Fact]
    public void The_profile_takes_four_transfer_syntaxes_and_no_clips()
    {
        // PS3.11 table J.3-1.
        Assert.Equal(["1.2.840.10008.1.2.1", "1.2.840.10008.1.2.4.70", "1.2.840.10008.1.2.4.50", "1.2.840.10008.1.2.4.51"], MediaProfile.TransferSyntaxUIDs);
        Assert.False(MediaProfile.Takes(TransferSyntaxes.MPEG4HP41));
        Assert.False(MediaProfile.Takes(TransferSyntaxes.ImplicitVRLittleEndian));
    }

    [Fact]
    public void Offsets_lead_from_record_to_record()
    {
        MediaDirectory directory = Example();

        byte[] bytes = Bytes(directory);

        // Read here by the offsets alone (PS3.3 table F.3-3: from the first byte of the file, preamble included), not by the order of the items.
        Assert.Equal(
            [
                "PATIENT P1", " STUDY 2.25.20", "  SERIES 2.25.30", "   IMAGE 2.25.40", "   IMAGE 2.25.41", "  SERIES 2.25.31", "   IMAGE 2.25.42", " STUDY 2.25.21",
                "  SERIES 2.25.32", "   IMAGE 2.25.43", "PATIENT P2", " STUDY 2.25.22", "  SERIES 2.25.33", "   IMAGE 2.25.44",
            ],
            new OffsetWalk(bytes).Lines);
        Assert.Equal((2, 3, 4, 5), directory.Counts);
        Assert.Equal(
            [
                @"PA000001\ST000001\SE000001\IM000001", @"PA000001\ST000001\SE000001\IM000002", @"PA000001\ST000001\SE000002\IM000001",
                @"PA000001\ST000002\SE000001\IM000001", @"PA000002\ST000001\SE000001\IM000001",
            ],
            directory.Files.Select(file => file.ReferencedFileID));
        Assert.Equal(bytes, Bytes(directory));
    }

    [Fact]
    public void An_empty_one_tells_of_no_record()
    {
        // PS3.3 table F.3-3: offsets are zero then, and the sequence has no item.
        Part10File file = Part10File.Read(Bytes(new MediaDirectory("2.25.77", "EMPTY")));
        Assert.Equal(("2.25.77", SopClasses.MediaStorageDirectoryStorage, "1.2.840.10008.1.2.1"), (file.Meta.MediaStorageSOPInstanceUID, file.Meta.MediaStorageSOPClassUID, file.Meta.TransferSyntaxUID));
        Assert.Equal(0, file.DataSet.GetInt32(Tags.OffsetOfTheFirstDirectoryRecordOfTheRootDirectoryEntity));
        Assert.Equal(0, file.DataSet.GetInt32(Tags.OffsetOfTheLastDirectoryRecordOfTheRootDirectoryEntity));
        Assert.Equal(0, file.DataSet.GetInt32(Tags.FileSetConsistencyFlag));
        Assert.True(file.DataSet.Contains(Tags.DirectoryRecordSequence));
        Assert.Empty(file.DataSet.GetItems(Tags.DirectoryRecordSequence));
        Assert.Empty(file.Findings);
    }

    [Fact]
    public void Records_declare_a_character_set_where_their_own_text_needs_one()
    {
        // PS3.3 tables F.5-1 to F.5-4: 1C, if an extended set is used in one of the keys.
        var directory = new MediaDirectory("2.25.77", "TEST");
        DataSet image = Image();
        image.Set(Tags.PatientName, "Öländer^Märta");
        directory.Add(image, Jpeg);

        IReadOnlyList<DataSet> records = Part10File.Read(Bytes(directory)).DataSet.GetItems(Tags.DirectoryRecordSequence);

        Assert.Equal(["ISO_IR 192", null, null, null], records.Select(record => record.GetString(Tags.SpecificCharacterSet)));
        Assert.Equal("Öländer^Märta", records[0].GetString(Tags.PatientName));
    }

    [Fact]
    public void Numbers_that_an_image_may_lack_are_supplied_and_nothing_else()
    {
        // PS3.11 H.3.3.1, note: keys of type 1 are in the image, or supplied in some other way. A Patient ID or a date is never invented.
        var directory = new MediaDirectory("2.25.77", "TEST");
        DataSet image = Image();
        foreach (Tag tag in (Tag[])[Tags.StudyID, Tags.SeriesNumber, Tags.InstanceNumber, Tags.PatientName, Tags.AccessionNumber])
        {
            image.SetEmpty(tag);
        }

        directory.Add(image, Jpeg);

        IReadOnlyList<DataSet> records = Part10File.Read(Bytes(directory)).DataSet.GetItems(Tags.DirectoryRecordSequence);
        Assert.Equal(("1", "1", "1"), (records[1].GetString(Tags.StudyID), records[2].GetString(Tags.SeriesNumber), records[3].GetString(Tags.InstanceNumber)));
        Assert.True(records[0][Tags.PatientName]!.IsEmpty && records[1][Tags.AccessionNumber]!.IsEmpty && records[1][Tags.StudyDescription]!.IsEmpty);
        foreach (Tag tag in (Tag[])
            [Tags.PatientID, Tags.StudyInstanceUID, Tags.StudyDate, Tags.StudyTime, Tags.SeriesInstanceUID, Tags.Modality, Tags.SOPInstanceUID, Tags.SOPClassUID, Tags.Rows, Tags.Columns])
        {
            DataSet lacking = Image(instance: 2);
            lacking.SetEmpty(tag);
            MediaDirectoryException refused = Assert.Throws<MediaDirectoryException>(() => directory.Add(lacking, Jpeg));
            Assert.Contains(tag.ToString(), refused.Message, StringComparison.Ordinal);
        }

        Assert.Equal((1, 1, 1, 1), directory.Counts);
    }

    [Theory]
    [InlineData("PatientName", "Roe^Rita", "another Patient's Name")]
    [InlineData("PatientBirthDate", "19610501", "another Patient's Birth Date")]
    [InlineData("PatientSex", "F", "another Patient's Sex")]
    [InlineData("IssuerOfPatientID", "ELSEWHERE", "another Issuer of Patient ID")]
    [InlineData("PatientID", "P2", "Study Instance UID under another patient")]
    [InlineData("StudyInstanceUID", "2.25.21", "Series Instance UID under another study")]
    [InlineData("Modality", "XC", "with another Modality")]
    [InlineData("SOPInstanceUID", "2.25.40", "in the file-set already")]
    public void What_contradicts_the_file_set_is_refused_and_changes_nothing(string keyword, string value, string reason)
    {
        var directory = new MediaDirectory("2.25.77", "TEST");
        directory.Add(Image(), Jpeg);
        byte[] before = Bytes(directory);
        DataSet other = Image(instance: 41);
        other.Set(TagDictionary.Find(keyword)!.Tag, value);

        MediaDirectoryException refused = Assert.Throws<MediaDirectoryException>(() => directory.Add(other, Jpeg));

        Assert.Contains(reason, refused.Message, StringComparison.Ordinal);
        Assert.DoesNotContain("Doe", refused.Message, StringComparison.Ordinal);
        Assert.DoesNotContain(value.Length > 2 && !value.StartsWith('2') ? value : "Roe", refused.Message, StringComparison.Ordinal);
        Assert.Equal(before, Bytes(directory));
    }

    [Fact]
    public void What_one_image_does_not_tell_another_may()
    {
        // PS3.11 table H.3-2: required if any object below has it.
        var directory = new MediaDirectory("2.25.77", "TEST");
        DataSet first = Image();
        first.SetEmpty(Tags.PatientBirthDate);
        directory.Add(first, Jpeg);
        DataSet second = Image(instance: 41);
        second.Set(Tags.InstitutionName, "Hollin Vale");
        directory.Add(second, Jpeg);

        IReadOnlyList<DataSet> records = Part10File.Read(Bytes(directory)).DataSet.GetItems(Tags.DirectoryRecordSequence);
        Assert.Equal("19610430", records[0].GetString(Tags.PatientBirthDate));
        Assert.Equal("Hollin Vale", records[2].GetString(Tags.InstitutionName));
    }

    [Fact]
    public void What_is_taken_out_takes_with_it_what_is_left_empty()
    {
        MediaDirectory directory = Example();
        Assert.True(directory.Remove("2.25.44"));
        Assert.True(directory.Remove("2.25.40"));
        Assert.True(directory.Remove("2.25.42"));
        Assert.False(directory.Remove("2.25.42"));
        Assert.Equal((1, 2, 2, 2), directory.Counts);
        Assert.Equal(
            ["PATIENT P1", " STUDY 2.25.20", "  SERIES 2.25.30", "   IMAGE 2.25.41", " STUDY 2.25.21", "  SERIES 2.25.32", "   IMAGE 2.25.43"], new OffsetWalk(Bytes(directory)).Lines);
        // A name that was given is not given again in this run.
        Assert.Equal(@"PA000001\ST000001\SE000001\IM000003", directory.Add(Image(instance: 40), Jpeg).ReferencedFileID);
    }

    [Fact]
    public void One_that_was_written_is_read_and_extended()
    {
        byte[] written = Bytes(Example());

        MediaDirectory read = MediaDirectory.Read(written);

        Assert.Equal((2, 3, 4, 5), read.Counts);
        Assert.Equal(("2.25.77", "TEST"), (read.FileSetUID, read.FileSetID));
        Assert.Equal(new MediaFile(@"PA000001\ST000001\SE000002\IM000001", SopClasses.VLEndoscopicImageStorage, "2.25.42", Jpeg), read.Find("2.25.42"));
        Assert.Equal(written, Bytes(read));
        Assert.Equal(@"PA000001\ST000001\SE000002\IM000002", read.Add(Image(series: 31, instance: 45), Jpeg).ReferencedFileID);
        Assert.Equal(@"PA000003\ST000001\SE000001\IM000001", read.Add(Image("P3", 23, 34, 46), Jpeg).ReferencedFileID);
        Assert.Equal((3, 4, 5, 7), MediaDirectory.Read(Bytes(read)).Counts);
        Assert.Throws<MediaDirectoryException>(() => read.Add(Image("P4", 20, 35, 47), Jpeg));
    }

    [Fact]
    public void One_that_another_program_wrote_or_changed_is_not_extended()
    {
        byte[] written = Bytes(Example());
        Assert.Contains("Another program wrote it", Refusal(Bytes(Example(), new FileMeta("", "", "") { ImplementationClassUID = "1.2.3.4" })), StringComparison.Ordinal);
        Assert.Contains("no media directory", Refusal(ImageFile(ElementWriter.Encode(Image(), TransferSyntax.JpegBaseline))), StringComparison.Ordinal);
        Assert.Contains("damaged", Refusal(written[..^3]), StringComparison.Ordinal);
        Assert.Contains("damaged", Refusal([]), StringComparison.Ordinal);

        // Every element of the linkage: an offset that leads elsewhere, a record that is not in use, a directory that calls itself inconsistent.
        int changes = 0;
        foreach (ushort number in (ushort[])[0x1200, 0x1202, 0x1212, 0x1400, 0x1410, 0x1420])
        {
            byte[] tag = [0x04, 0x00, (byte)number, (byte)(number >> 8)];
            for (int at = 0; (at = written.AsSpan(at).IndexOf(tag) is >= 0 and int found ? at + found : -1) >= 0; at += tag.Length)
            {
                byte[] changed = [.. written];
                changed[at + 8] ^= 1;
                Assert.Contains("Another program changed it", Refusal(changed), StringComparison.Ordinal);
                changes++;
            }
        }

        Assert.Equal(3 + (3 * 14), changes);

        static byte[] ImageFile(PixelSource dataSet) => Array(Part10File.Encode(new FileMeta(SopClasses.VLEndoscopicImageStorage, "2.25.4", Jpeg), dataSet));
    }

    [Fact]
    public void A_data_set_in_pieces_is_read_without_touching_its_pixels()
    {
        DataSet image = Image();
        image.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromFile("/nowhere/picture.jpg", 10, 1001)])));

        DataSet read = ElementReader.Read(ElementWriter.Encode(image, TransferSyntax.JpegBaseline), TransferSyntax.JpegBaseline);

        Assert.Equal("Doe^Adam", read.GetString(Tags.PatientName));
        PixelSource.Piece piece = Assert.Single(read[Tags.PixelData]!.Encapsulated!.Fragments[0].Pieces, one => one.Path is not null);
        Assert.Equal(("/nowhere/picture.jpg", 10, 1001), (piece.Path, piece.Offset, piece.Length));
    }

    internal static DataSet Image(string patientID = "P1", int study = 20, int series = 30, int instance = 40)
    {
        DataSet image = TestObject.Endoscopic();
        image.Set(Tags.PatientID, patientID);
        image.Set(Tags.StudyInstanceUID, $"2.25.{study}");
        image.Set(Tags.StudyID, "S1");
        image.Set(Tags.SeriesInstanceUID, $"2.25.{series}");
        image.Set(Tags.SOPInstanceUID, $"2.25.{instance}");
        return image;
    }

    private static MediaDirectory Example()
    {
        var directory = new MediaDirectory("2.25.77", "TEST");
        foreach (DataSet image in (DataSet[])[Image(), Image(series: 31, instance: 42), Image("P2", 22, 33, 44), Image(instance: 41), Image(study: 21, series: 32, instance: 43)])
        {
            directory.Add(image, Jpeg);
        }

        return directory;
    }

    private static string Refusal(byte[] bytes) => Assert.Throws<MediaDirectoryException>(() => MediaDirectory.Read(bytes)).Message;

    private static byte[] Bytes(MediaDirectory directory, FileMeta? meta = null) => Array(directory.Encode(meta));

    private static byte[] Array(PixelSource source)
    {
        using Stream stream = source.OpenRead();
        byte[] bytes = new byte[source.Length];
        stream.ReadExactly(bytes);
        return bytes;
    }

    /// <summary>A reader of its own: follows the offsets through the bytes and knows nothing of their order.</summary>
    private sealed class OffsetWalk
    {
        private readonly byte[] bytes;

        public OffsetWalk(byte[] bytes)
        {
            this.bytes = bytes;
            DataSet directory = Part10File.Read(bytes).DataSet;
            Follow(directory.GetInt64(Tags.OffsetOfTheFirstDirectoryRecordOfTheRootDirectoryEntity)!.Value, "", directory.GetInt64(Tags.OffsetOfTheLastDirectoryRecordOfTheRootDirectoryEntity));
        }

        public List<string> Lines { get; } = [];

        private void Follow(long offset, string indent, long? last)
        {
            while (offset != 0)
            {
                ReadOnlySpan<byte> item = bytes.AsSpan((int)offset);
                Assert.Equal([0xFE, 0xFF, 0x00, 0xE0], item[..4].ToArray());
                DataSet record = ElementReader.Read(item.Slice(8, BitConverter.ToInt32(item[4..8])), TransferSyntax.ExplicitLittleEndian);
                Assert.Equal(0xFFFF, record.GetInt32(Tags.RecordInUseFlag));
                string type = record.GetString(Tags.DirectoryRecordType)!;
                Tag key = type switch
                {
                    "PATIENT" => Tags.PatientID,
                    "STUDY" => Tags.StudyInstanceUID,
                    "SERIES" => Tags.SeriesInstanceUID,
                    _ => Tags.ReferencedSOPInstanceUIDInFile,
                };
                Lines.Add($"{indent}{type} {record.GetString(key)}");
                Follow(record.GetInt64(Tags.OffsetOfReferencedLowerLevelDirectoryEntity)!.Value, indent + " ", null);
                long next = record.GetInt64(Tags.OffsetOfTheNextDirectoryRecord)!.Value;
                Assert.True(next != 0 || last is null || last == offset);
                offset = next;
            }
        }
    }
}
