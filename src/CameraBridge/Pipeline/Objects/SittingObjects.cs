using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// One sitting's captures on their way to objects: which are evidence, which optic and side each has, one series for each optic and kind, and which stills
/// were taken during a clip.
/// </summary>
internal sealed class SittingObjects
{
    /// <summary>Distance between the numbers of two series of a sitting, whose first has the sitting's own number.</summary>
    private const int SeriesStep = 1_000_000;

    private readonly SiteConfiguration configuration;
    private readonly SourceConfiguration source;
    private readonly CaptureContents contents;
    private readonly Sitting sitting;
    private readonly DataSet step;
    private readonly SittingCues cues;
    private readonly SittingScales? scales;
    private readonly Dictionary<long, int> numbers = [];
    private readonly Dictionary<(string Optic, CaptureKind Kind), OpenSeries> series = [];
    private readonly ClipMoments moments = new();
    private readonly IReadOnlyList<Capture> pictures;
    private int seriesCount;

    public SittingObjects(
        SiteConfiguration configuration,
        SourceConfiguration source,
        CaptureContents contents,
        Sitting sitting,
        DataSet step,
        IReadOnlyList<Capture> captures,
        IReadOnlyList<Cue> cues,
        IReadOnlyList<ObjectSeries> before)
    {
        this.configuration = configuration;
        this.source = source;
        this.contents = contents;
        this.sitting = sitting;
        this.step = step;
        this.cues = new SittingCues(captures, cues);
        // Where nobody can tell the pictures' order, nobody can tell which ones a card stands before.
        scales = configuration.Labels.ScaleCards && sitting.Doubt is null ? new SittingScales(captures, cues, capture => Cued(capture).Optic) : null;
        pictures = [.. captures.Where(capture => !this.cues.IsEvidence(capture))];
        foreach (Capture capture in pictures)
        {
            // Its place among the sitting's pictures, whatever becomes of the others: a held one that is tried again later comes where it belongs.
            numbers[capture.Id] = numbers.Count + 1;
        }

        StartedAt = before is [var first, ..] ? first.StartedAt : Start(pictures);
        StudyStartedAt = StartedAt;
        seriesCount = before.Count;
        foreach (ObjectSeries known in before)
        {
            // A series is of one optic and one equipment: where the configuration has changed since, another series is begun.
            if (configuration.Optics.TryFind(known.Optic, out Optic? optic) && known.Equipment == EquipmentOf(optic, known.Kind))
            {
                series[(optic.Name, known.Kind)] = new OpenSeries(known.SeriesInstanceUID, known.SeriesNumber) { Highest = known.Instances };
            }
        }
    }

    /// <summary>When the sitting's first picture was taken.</summary>
    public DateTimeOffset StartedAt { get; }

    /// <summary>When the study began: this sitting's beginning, unless another sitting of the study was first. To be set before the first capture is added.</summary>
    public DateTimeOffset StudyStartedAt { get; set; }

    /// <summary>The series that have objects, with what was added.</summary>
    /// <summary>The performed step that stands in the objects; null where the RIS is told of none.</summary>
    public string? PerformedStepUID { get; init; }

    public IReadOnlyList<ObjectSeries> Series =>
    [
        .. series.Where(pair => pair.Value.Highest > 0 && configuration.Optics.TryFind(pair.Key.Optic, out _)).Select(pair => new ObjectSeries
        {
            SeriesInstanceUID = pair.Value.SeriesInstanceUID,
            Optic = pair.Key.Optic,
            Kind = pair.Key.Kind,
            Equipment = EquipmentOf(OpticOf(pair.Key.Optic)!, pair.Key.Kind),
            SeriesNumber = pair.Value.SeriesNumber,
            StartedAt = StartedAt,
            Instances = pair.Value.Highest,
        }),
    ];

    /// <summary>The captures in the order in which they are to be added: clips first, since stills that were taken meanwhile refer to them.</summary>
    public static IEnumerable<Capture> InOrderOfMaking(IReadOnlyList<Capture> open) => open.OrderBy(capture => CaptureKinds.ByName(capture) == CaptureKind.Clip ? 0 : 1);

    /// <summary>A clip of the sitting that became an object before, so that stills that are made now can refer to it.</summary>
    public void AddEarlier(Capture capture, ImagingObject clip, CancellationToken cancellation)
    {
        (string opticName, OpticValues _) = Cued(capture);
        if (series.TryGetValue((opticName, CaptureKind.Clip), out OpenSeries? known)
            && contents.Read(CaptureKind.Clip, PathOf(capture), cancellation) is ContentOutcome.Made { Content: ClipContent content })
        {
            moments.Add(opticName, capture, content, clip.SOPClassUID, clip.SOPInstanceUID, known.SeriesInstanceUID);
        }
    }

    /// <summary>Makes the object of one capture, or says why there is none.</summary>
    public void Add(Capture capture, List<ImagingObject> objects, List<CaptureVerdict> others, ILogger logger, CancellationToken cancellation)
    {
        if (cues.IsEvidence(capture))
        {
            others.Add(new CaptureVerdict(capture.Id, CaptureState.Evidence, null));
            return;
        }

        (string opticName, OpticValues said) = Cued(capture);
        if (OpticOf(opticName) is not { } optic)
        {
            Hold(capture, PictureReasons.UnknownOptic(opticName, configuration.Optics), others, logger);
            return;
        }

        string path = PathOf(capture);
        FileInfo file = new(path);
        if (!file.Exists || file.Length != capture.Size)
        {
            Hold(capture, file.Exists ? PictureReasons.SpoolChanged : PictureReasons.SpoolMissing, others, logger);
            return;
        }

        CaptureKind kind = CaptureKinds.Of(capture, path);
        bool isEye = optic.Of(kind).SOPClassUID == Dicom.Dictionary.SopClasses.OphthalmicPhotography8BitImageStorage;
        switch (isEye ? contents.ReadEye(path, cancellation) : contents.Read(kind, path, cancellation))
        {
            case ContentOutcome.Held held:
                Hold(capture, held.Reason, others, logger);
                break;
            case ContentOutcome.Made { Content: var content }:
                Add(capture, optic, kind, said, content, objects, others, logger);
                break;
        }
    }

    private void Add(
        Capture capture, Optic optic, CaptureKind kind, OpticValues said, Content content, List<ImagingObject> objects, List<CaptureVerdict> others, ILogger logger)
    {
        OpenSeries open = SeriesOf(optic, kind);
        var picture = new PictureFacts
        {
            SOPInstanceUID = Uids.NewFromUuid(),
            InstanceNumber = numbers[capture.Id],
            Content = content,
            TakenAt = TakenAt(capture, content, said),
            Said = said.With(ValueKeys.TakenAt),
            Scale = kind == CaptureKind.Still ? scales?.Of(capture, content.Columns, content.Rows) : null,
            During = kind == CaptureKind.Still && ObjectsStage.Plausible(capture) is { } at ? moments.Find(optic.Name, at) : null,
        };
        switch (ObjectComposition.Compose(open.Template!, picture))
        {
            case ObjectOutcome.Made made:
                open.Highest = Math.Max(open.Highest, picture.InstanceNumber);
                objects.Add(Store(capture, made, open, picture.SOPInstanceUID, Routes.Of(configuration, sitting.Source, optic.Name, optic.Of(kind), step)));
                if (content is ClipContent clip)
                {
                    moments.Add(optic.Name, capture, clip, open.Template!.Facts.SOPClassUID, picture.SOPInstanceUID, open.SeriesInstanceUID);
                }

                foreach (string note in made.Notes)
                {
                    logger.ObjectNote(capture.Id, note);
                }

                break;
            case ObjectOutcome.Held held:
                Hold(capture, held.Reason, others, logger);
                break;
        }
    }

    private string PathOf(Capture capture) => Path.Combine(configuration.SpoolFolder, capture.SpoolName);

    private Optic? OpticOf(string name) => configuration.Optics.TryFind(name, out Optic? optic) ? optic : null;

    private (string Optic, OpticValues Said) Cued(Capture capture) => cues.Of(capture) is var (optic, said) ? (optic ?? source.Optic, said) : default;

    /// <summary>What a person or sidecar says, in the zone of the source; else the camera's time. A clip that has only its file's time was begun before that.</summary>
    private DateTimeOffset? TakenAt(Capture capture, Content content, OpticValues said)
    {
        if (said.One(ValueKeys.TakenAt) is { } written)
        {
            DateTime local = DateTime.ParseExact(written, ValueKeys.TimeForm, System.Globalization.CultureInfo.InvariantCulture);
            return new DateTimeOffset(local, (source.TimeZone ?? configuration.TimeZone).GetUtcOffset(local));
        }

        return ObjectsStage.Plausible(capture) is not { } taken ? null
            : content is ClipContent clip ? ClipMoments.Beginning(capture, taken, clip)
            : taken;
    }

    private static void Hold(Capture capture, Reason reason, List<CaptureVerdict> others, ILogger logger)
    {
        others.Add(new CaptureVerdict(capture.Id, CaptureState.Held, reason.Words));
        logger.CaptureHeld(capture.Id, reason.Code);
    }

    private ImagingObject Store(Capture capture, ObjectOutcome.Made made, OpenSeries open, string SOPInstanceUID, IReadOnlyList<string> destinations) => new()
    {
        CaptureId = capture.Id,
        SittingId = sitting.Id,
        SOPClassUID = open.Template!.Facts.SOPClassUID,
        SOPInstanceUID = SOPInstanceUID,
        StudyInstanceUID = step.GetString(Tags.StudyInstanceUID)!,
        SeriesInstanceUID = open.SeriesInstanceUID,
        Destinations = destinations,
        Rank = Routes.RankOf(open.Template!.Facts.Kind, step),
        TransferSyntaxUID = made.TransferSyntaxUID,
        Pieces = [.. made.Encoded.Pieces.Select(piece => piece.Path is null
            ? new StoredPiece(piece.Bytes.ToArray(), null, 0, piece.Length)
            : new StoredPiece(null, Path.GetRelativePath(configuration.SpoolFolder, piece.Path), piece.Offset, piece.Length))],
    };

    private OpenSeries SeriesOf(Optic optic, CaptureKind kind)
    {
        if (!series.TryGetValue((optic.Name, kind), out OpenSeries? open))
        {
            int SeriesNumber = (int)(sitting.Id % SeriesStep) + (seriesCount++ * SeriesStep);
            open = new OpenSeries(Uids.NewFromUuid(), SeriesNumber);
            series.Add((optic.Name, kind), open);
        }

        open.Template ??= new SeriesTemplate(new SeriesFacts
        {
            Step = step,
            Institution = configuration.Institution,
            Source = source,
            Optic = optic,
            Kind = kind,
            SeriesInstanceUID = open.SeriesInstanceUID,
            SeriesNumber = open.SeriesNumber,
            StartedAt = StartedAt,
            StudyStartedAt = StudyStartedAt,
            PerformedProcedureStepID = $"CB{sitting.Id}",
            PerformedStepUID = PerformedStepUID,
        });
        return open;
    }

    /// <summary>What is said of modality and equipment in all objects of a series by the tables and the configuration.</summary>
    private string EquipmentOf(Optic optic, CaptureKind kind) => string.Join(
        '\n',
        optic.Of(kind).Modality, source.Device.Manufacturer, source.Device.ModelName, source.Device.SerialNumber, source.Device.SoftwareVersions, source.StationName,
        configuration.Institution.Name, configuration.Institution.Address, configuration.Institution.Department);

    /// <summary>The first picture's time, in its own zone; where no camera time can be right, when the first one was taken in.</summary>
    private DateTimeOffset Start(IEnumerable<Capture> captures)
    {
        DateTimeOffset? first = null;
        DateTimeOffset? settled = null;
        foreach (Capture capture in captures)
        {
            if (ObjectsStage.Plausible(capture) is { } taken && (first is null || taken < first))
            {
                first = taken;
            }

            if (settled is null || capture.SettledAt < settled)
            {
                settled = capture.SettledAt;
            }
        }

        return first ?? TimeZoneInfo.ConvertTime(settled ?? sitting.OpenedAt, source.TimeZone ?? configuration.TimeZone);
    }

    private sealed class OpenSeries(string SeriesInstanceUID, int SeriesNumber)
    {
        public string SeriesInstanceUID { get; } = SeriesInstanceUID;

        public int SeriesNumber { get; } = SeriesNumber;

        public SeriesTemplate? Template { get; set; }

        /// <summary>The highest Instance Number given in it.</summary>
        public int Highest { get; set; }
    }
}
