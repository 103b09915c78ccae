using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Part10;

/// <summary>
/// The directory of a file-set on media, the file DICOMDIR (PS3.3 Annex F, PS3.10 section 8, edition 2025e): patients, their studies, series and images, each
/// a record with its keys. It gives each image the name of its file: PA000001\ST000001\SE000001\IM000001 and so on. Reading and writing stand in the other
/// parts of the class. Not safe for several threads.
/// </summary>
public sealed partial class MediaDirectory
{
    private const int Patients = 0, Studies = 1, Series = 2, Images = 3;
    private const int HighestNumber = 999_999, InUse = 0xFFFF;

    private static readonly Level[] Levels =
    [
        new("PATIENT", "PA", Tags.PatientID),
        new("STUDY", "ST", Tags.StudyInstanceUID),
        new("SERIES", "SE", Tags.SeriesInstanceUID),
        new("IMAGE", "IM", Tags.ReferencedSOPInstanceUIDInFile),
    ];

    private readonly Record root = new(null, new DataSet(), "");

    /// <summary>The records of each level by their key, which the whole file-set has only once.</summary>
    private readonly Dictionary<string, Record>[] known = [.. Levels.Select(_ => new Dictionary<string, Record>(StringComparer.Ordinal))];

    /// <summary>An empty one.</summary>
    /// <param name="fileSetUID">The file-set's UID, which it keeps for ever (PS3.10 section 8.1).</param>
    /// <param name="fileSetID">(0004,1130): a short name for people; see <see cref="MediaFileID.IsFileSetID"/>.</param>
    /// <exception cref="ArgumentException">No UID, or no File-set ID.</exception>
    public MediaDirectory(string fileSetUID, string fileSetID)
    {
        if (!Uids.IsValid(fileSetUID))
        {
            throw new ArgumentException("A file-set has a UID (PS3.10 8.1).", nameof(fileSetUID));
        }

        if (!MediaFileID.IsFileSetID(fileSetID))
        {
            throw new ArgumentException("A File-set ID has 1 to 16 characters A-Z, 0-9 and _ (PS3.10 8.1).", nameof(fileSetID));
        }

        FileSetUID = fileSetUID;
        FileSetID = fileSetID;
    }

    /// <summary>The file-set's UID.</summary>
    public string FileSetUID { get; }

    /// <summary>(0004,1130).</summary>
    public string FileSetID { get; }

    /// <summary>The files, in the order of the records.</summary>
    public IEnumerable<MediaFile> Files => root.Descendants().Where(record => record.File is not null).Select(record => record.File!);

    /// <summary>How many patients, studies, series and images it tells of.</summary>
    public (int Patients, int Studies, int Series, int Images) Counts => (known[0].Count, known[1].Count, known[2].Count, known[3].Count);

    /// <summary>The file of an object, or null.</summary>
    public MediaFile? Find(string SOPInstanceUID) => known[Images].GetValueOrDefault(SOPInstanceUID)?.File;

    /// <summary>
    /// Adds an image. Study ID, Series Number and Instance Number are supplied where it has none, since a record must have them and an image need not
    /// (PS3.11 section H.3.3.1, note). Nothing is changed when it throws.
    /// </summary>
    /// <param name="image">Its data set; pixels are not looked at.</param>
    /// <param name="transferSyntaxUID">How its file is encoded.</param>
    /// <exception cref="MediaDirectoryException">
    /// What a record must have is missing; it is there already; or it contradicts what is there: the same Patient ID with another issuer, name, birth date or
    /// sex, the same study under another patient, the same series in another study. A viewer would show one patient's pictures under another's name.
    /// </exception>
    public MediaFile Add(DataSet image, string transferSyntaxUID)
    {
        ArgumentNullException.ThrowIfNull(image);
        string patientID = Needed(image, Tags.PatientID), studyUID = Needed(image, Tags.StudyInstanceUID), seriesUID = Needed(image, Tags.SeriesInstanceUID);
        string instanceUID = Needed(image, Tags.SOPInstanceUID), classUID = Needed(image, Tags.SOPClassUID);
        foreach (Tag tag in (Tag[])[.. MediaDirectoryKeys.StudyAlways, .. MediaDirectoryKeys.SeriesAlways, .. MediaDirectoryKeys.ImageAlways])
        {
            _ = Needed(image, tag);
        }

        if (!Uids.IsValid(classUID) || !Uids.IsValid(instanceUID) || !Uids.IsValid(transferSyntaxUID))
        {
            throw new MediaDirectoryException("The object's SOP Class UID, SOP Instance UID or Transfer Syntax UID is no UID (PS3.5 9.1).");
        }

        if (known[Images].ContainsKey(instanceUID))
        {
            throw new MediaDirectoryException("The object is in the file-set already.");
        }

        Record? patient = known[Patients].GetValueOrDefault(patientID), study = known[Studies].GetValueOrDefault(studyUID), series = known[Series].GetValueOrDefault(seriesUID);
        DemandSamePatient(patient, image);
        DemandSamePlace(study, patient, "Study Instance UID", "patient");
        DemandSamePlace(series, study, "Series Instance UID", "study");
        if (series is not null && series.Data.GetString(Tags.Modality) != image.GetString(Tags.Modality))
        {
            throw new MediaDirectoryException("The file-set has the same Series Instance UID with another Modality (PS3.3 C.7.3.1).");
        }

        if (root.IsFull || patient?.IsFull == true || study?.IsFull == true || series?.IsFull == true)
        {
            throw new MediaDirectoryException("The file-set is full: its names have no more numbers. Use another folder.");
        }

        patient ??= Begin(root, patientID);
        patient.Take(image, Tags.PatientID);
        patient.TakeOrEmpty(image, MediaDirectoryKeys.PatientKnownOrEmpty);
        patient.Take(image, MediaDirectoryKeys.PatientIfKnown);
        if (study is null)
        {
            study = Begin(patient, studyUID);
            study.Take(image, MediaDirectoryKeys.StudyAlways);
            study.TakeOrEmpty(image, MediaDirectoryKeys.StudyKnownOrEmpty);
            study.Supply(image, Tags.StudyID);
        }

        if (series is null)
        {
            series = Begin(study, seriesUID);
            series.Take(image, MediaDirectoryKeys.SeriesAlways);
            series.Supply(image, Tags.SeriesNumber);
        }

        series.Take(image, MediaDirectoryKeys.SeriesIfKnown);
        Record made = Begin(series, instanceUID);
        made.Take(image, [.. MediaDirectoryKeys.ImageAlways, .. MediaDirectoryKeys.ImageIfKnown]);
        made.Supply(image, Tags.InstanceNumber);
        string[] names = [patient.Name, study.Name, series.Name, made.Name];
        made.Data.Set(Tags.ReferencedFileID, names);
        made.Data.Set(Tags.ReferencedSOPClassUIDInFile, classUID);
        made.Data.Set(Tags.ReferencedSOPInstanceUIDInFile, instanceUID);
        made.Data.Set(Tags.ReferencedTransferSyntaxUIDInFile, transferSyntaxUID);
        return made.File = new MediaFile(string.Join('\\', names), classUID, instanceUID, transferSyntaxUID);
    }

    /// <summary>Takes an image out, and its series, study and patient when they are left without one.</summary>
    /// <returns>False when it was not there.</returns>
    public bool Remove(string SOPInstanceUID)
    {
        Record? record = known[Images].GetValueOrDefault(SOPInstanceUID);
        bool isThere = record is not null;
        while (record is { Parent: { } parent, Children.Count: 0 })
        {
            Level level = Levels[record.Depth];
            known[record.Depth].Remove(record.Data.GetString(level.Key)!);
            parent.Children.Remove(record);
            record = parent;
        }

        return isThere;
    }

    private static void DemandSamePatient(Record? patient, DataSet image)
    {
        if (patient is null)
        {
            return;
        }

        // Without its issuer an ID says nothing of who it is of; a name or a birth date that one of two does not tell contradicts nothing.
        Tag? differs = patient.Data.GetString(Tags.IssuerOfPatientID) != image.GetString(Tags.IssuerOfPatientID)
            ? Tags.IssuerOfPatientID
            : MediaDirectoryKeys.Identity.Where(tag => patient.Data.GetString(tag) is { } has && image.GetString(tag) is { } tells && has != tells).Select(tag => (Tag?)tag).FirstOrDefault();
        if (differs is { } tag)
        {
            throw new MediaDirectoryException($"The file-set has the same Patient ID with another {TagDictionary.Find(tag)!.Name}, and a Patient ID may stand there only once (PS3.3 F.5.1).");
        }
    }

    private static void DemandSamePlace(Record? record, Record? parent, string uid, string place)
    {
        if (record is not null && record.Parent != parent)
        {
            throw new MediaDirectoryException($"The file-set has the same {uid} under another {place} (PS3.3 F.5.2, F.5.3).");
        }
    }

    private static string Needed(DataSet image, Tag tag) => image.GetString(tag)
        ?? throw new MediaDirectoryException($"The object has no {TagDictionary.Find(tag)!.Name} {tag}, which its record in the directory must have (PS3.3 F.5, PS3.11 H.3.3.1).");

    private Record Begin(Record above, string key)
    {
        Level level = Levels[above.Depth + 1];
        var data = new DataSet();
        data.SetInt(Tags.OffsetOfTheNextDirectoryRecord, 0L);
        data.SetInt(Tags.RecordInUseFlag, InUse);
        data.SetInt(Tags.OffsetOfReferencedLowerLevelDirectoryEntity, 0L);
        data.Set(Tags.DirectoryRecordType, level.Type);
        var record = new Record(above, data, string.Create(CultureInfo.InvariantCulture, $"{level.Prefix}{++above.LastNumber:000000}"));
        above.Children.Add(record);
        known[record.Depth].Add(key, record);
        return record;
    }

    /// <summary>A kind of record.</summary>
    /// <param name="Type">Its Directory Record Type.</param>
    /// <param name="Prefix">What its component of a File ID begins with.</param>
    /// <param name="Key">What the file-set has only once.</param>
    private sealed record Level(string Type, string Prefix, Tag Key);

    /// <summary>A directory record and those below it.</summary>
    /// <param name="parent">The record above; null for the root, which is none itself.</param>
    /// <param name="data">Its elements.</param>
    /// <param name="name">Its component of the File IDs of the files below it.</param>
    private sealed class Record(Record? parent, DataSet data, string name)
    {
        public Record? Parent { get; } = parent;

        /// <summary>Index of its level; -1 for the root.</summary>
        public int Depth { get; } = parent is null ? -1 : parent.Depth + 1;

        public DataSet Data { get; } = data;

        public string Name { get; set; } = name;

        public List<Record> Children { get; } = [];

        /// <summary>The highest number in the names of the records below.</summary>
        public int LastNumber { get; set; }

        public MediaFile? File { get; set; }

        public bool IsFull => LastNumber >= HighestNumber;

        /// <summary>Those below, each followed by its own.</summary>
        public IEnumerable<Record> Descendants() => Children.SelectMany(child => child.Descendants().Prepend(child));

        /// <summary>Takes over what the image tells and the record does not yet.</summary>
        public void Take(DataSet image, params IReadOnlyList<Tag> tags) => Data.CopyFrom(image, tags.Where(tag => image.HasValue(tag) && !Data.HasValue(tag)));

        /// <summary>The same for keys that stand there without a value where none is known.</summary>
        public void TakeOrEmpty(DataSet image, IReadOnlyList<Tag> tags)
        {
            Take(image, tags);
            foreach (Tag tag in tags.Where(tag => !Data.Contains(tag)))
            {
                Data.SetEmpty(tag);
            }
        }

        /// <summary>A number that the record must have: the image's, or the place of the record among its siblings.</summary>
        public void Supply(DataSet image, Tag tag)
        {
            if (image.HasValue(tag))
            {
                Take(image, tag);
            }
            else
            {
                Data.Set(tag, Parent!.LastNumber.ToString(CultureInfo.InvariantCulture));
            }
        }
    }
}
