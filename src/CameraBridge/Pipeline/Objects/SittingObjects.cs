using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Sittings.Cues;

namespace CameraBridge.Pipeline.Objects;

/// <summary>One sitting's captures on their way to objects: which are evidence, which optic and side each has, one series for each optic.</summary>
internal sealed class SittingObjects
{
    /// <summary>Distance between the numbers of two series of a sitting, whose first has the sitting's own number.</summary>
    private const int SeriesStep = 1_000_000;

    private readonly SiteConfiguration configuration;
    private readonly SourceConfiguration source;
    private readonly Sitting sitting;
    private readonly DataSet step;
    private readonly HashSet<long> evidence;
    private readonly Cue? folderSidecar;
    private readonly Dictionary<string, Cue> pictureSidecars = [];
    private readonly Dictionary<string, (SeriesFacts Facts, int Count)> series = [];
    private int seriesCount;

    public SittingObjects(
        SiteConfiguration configuration,
        SourceConfiguration source,
        Sitting sitting,
        DataSet step,
        IReadOnlyList<Capture> captures,
        IReadOnlyList<Cue> cues,
        IReadOnlyList<ObjectSeries> before)
    {
        this.configuration = configuration;
        this.source = source;
        this.sitting = sitting;
        this.step = step;
        evidence = [.. cues.Where(cue => cue.Kind is CueKind.Label or CueKind.Sidecar).Select(cue => cue.CaptureId)];
        Dictionary<long, Capture> byId = captures.ToDictionary(capture => capture.Id);
        foreach (Cue cue in cues.Where(cue => cue.Kind == CueKind.Sidecar))
        {
            if (byId.TryGetValue(cue.CaptureId, out Capture? own) && Sidecar.PictureOf(own.Place) is { } picture)
            {
                pictureSidecars[picture] = cue;
            }
            else
            {
                // The folder's own, which may lie with another part of it.
                folderSidecar = cue;
            }
        }

        StartedAt = before is [var first, ..] ? first.StartedAt : Start(captures.Where(capture => !evidence.Contains(capture.Id)));
        StudyStartedAt = StartedAt;
        seriesCount = before.Count;
        foreach (ObjectSeries known in before)
        {
            // A series is of one optic and one equipment: where the configuration has changed since, another series is begun.
            if (Optics.TryFind(known.Optic, out Optic? optic) && known.Equipment == EquipmentOf(optic))
            {
                series[optic.Name] = (FactsOf(optic, known.SeriesInstanceUID, known.SeriesNumber), known.Instances);
            }
        }
    }

    /// <summary>When the sitting's first picture was taken.</summary>
    public DateTimeOffset StartedAt { get; }

    /// <summary>When the study began: this sitting's beginning, unless another sitting of the study was first. To be set before the first capture is added.</summary>
    public DateTimeOffset StudyStartedAt { get; set; }

    /// <summary>The series that have objects, with what was added.</summary>
    public IReadOnlyList<ObjectSeries> Series =>
    [
        .. series.Where(pair => pair.Value.Count > 0).Select(pair => new ObjectSeries
        {
            SeriesInstanceUID = pair.Value.Facts.SeriesInstanceUID,
            Optic = pair.Key,
            Equipment = EquipmentOf(pair.Value.Facts.Optic),
            SeriesNumber = pair.Value.Facts.SeriesNumber,
            StartedAt = StartedAt,
            Instances = pair.Value.Count,
        }),
    ];

    /// <summary>Makes the object of one capture, or says why there is none.</summary>
    public void Add(Capture capture, List<ImagingObject> objects, List<CaptureVerdict> others, ILogger logger)
    {
        if (evidence.Contains(capture.Id))
        {
            others.Add(new CaptureVerdict(capture.Id, CaptureState.Evidence, null));
            return;
        }

        Cue? sidecar = pictureSidecars.GetValueOrDefault(capture.Place);
        string opticName = sidecar?.Optic ?? folderSidecar?.Optic ?? source.Optic;
        if (!Optics.TryFind(opticName, out Optic? optic))
        {
            Hold(capture, PictureReasons.UnknownOptic(opticName), others, logger);
            return;
        }

        string path = Path.Combine(configuration.SpoolFolder, capture.SpoolName);
        JpegHeader header;
        try
        {
            header = JpegHeader.ReadFile(path);
        }
        catch (FileNotFoundException)
        {
            Hold(capture, PictureReasons.SpoolMissing, others, logger);
            return;
        }

        if (header.Length != capture.Size)
        {
            Hold(capture, PictureReasons.SpoolChanged, others, logger);
            return;
        }

        (SeriesFacts facts, int count) = SeriesOf(optic);
        facts = facts with { StudyStartedAt = StudyStartedAt };
        var objectFacts = new ObjectFacts
        {
            Step = step,
            Institution = configuration.Institution,
            Source = source,
            Series = facts,
            Picture = new PictureFacts
            {
                SOPInstanceUID = Uids.NewFromUuid(),
                InstanceNumber = count + 1,
                Header = header,
                Exif = Exif.Read(header.Exif.Span),
                Path = path,
                TakenAt = ObjectsStage.Plausible(capture),
                Side = sidecar?.Side ?? folderSidecar?.Side,
            },
        };
        switch (ObjectComposition.Compose(objectFacts))
        {
            case ObjectOutcome.Made made:
                series[optic.Name] = (facts, count + 1);
                objects.Add(Store(capture, made, objectFacts));
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

    private static void Hold(Capture capture, Reason reason, List<CaptureVerdict> others, ILogger logger)
    {
        others.Add(new CaptureVerdict(capture.Id, CaptureState.Held, reason.Words));
        logger.CaptureHeld(capture.Id, reason.Code);
    }

    private ImagingObject Store(Capture capture, ObjectOutcome.Made made, ObjectFacts facts) => new()
    {
        CaptureId = capture.Id,
        SittingId = sitting.Id,
        SOPClassUID = facts.Series.Optic.SOPClassUID,
        SOPInstanceUID = facts.Picture.SOPInstanceUID,
        TransferSyntaxUID = made.TransferSyntaxUID,
        Pieces = [.. made.Encoded.Pieces.Select(piece => piece.Path is null
            ? new StoredPiece(piece.Bytes.ToArray(), null, 0, piece.Length)
            : new StoredPiece(null, capture.SpoolName, piece.Offset, piece.Length))],
    };

    private (SeriesFacts Facts, int Count) SeriesOf(Optic optic)
    {
        if (!series.TryGetValue(optic.Name, out (SeriesFacts Facts, int Count) known))
        {
            int SeriesNumber = (int)(sitting.Id % SeriesStep) + (seriesCount++ * SeriesStep);
            known = (FactsOf(optic, Uids.NewFromUuid(), SeriesNumber), 0);
            series.Add(optic.Name, known);
        }

        return known;
    }

    private SeriesFacts FactsOf(Optic optic, string SeriesInstanceUID, int SeriesNumber) =>
        new(optic, SeriesInstanceUID, SeriesNumber, StartedAt, StudyStartedAt, $"CB{sitting.Id}");

    /// <summary>What <see cref="StepMapping"/> and <see cref="EquipmentMapping"/> say in all objects of a series by the tables and the configuration.</summary>
    private string EquipmentOf(Optic optic) => string.Join(
        '\n',
        optic.Modality, source.Device.Manufacturer, source.Device.ModelName, source.Device.SerialNumber, source.Device.SoftwareVersions, source.StationName,
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
}
