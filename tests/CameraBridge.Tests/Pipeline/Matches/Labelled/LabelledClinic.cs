using System.Globalization;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Matches;
using CameraBridge.Pipeline.Sittings;

namespace CameraBridge.Tests.Pipeline.Matches.Labelled;

/// <summary>
/// Sittings with a label on each, and with all that goes wrong with labels, through the program's own division into sittings, identities and rules. Filed
/// wrongly is a sitting with one picture of another patient than its step's.
/// </summary>
/// <param name="seed">The same seed draws the same sittings.</param>
/// <param name="loneWrongSheets">Share of the folders with <see cref="Mishap.WrongSheetAlone"/>.</param>
internal sealed class LabelledClinic(int seed, double loneWrongSheets = 0)
{
    private const int Patients = 24;
    private const string Station = "CAM1";

    private static readonly DateTimeOffset Opens = new(2026, 11, 25, 8, 0, 0, TimeSpan.FromHours(1));

    private static readonly Mishap[] Mishaps = [.. Enum.GetValues<Mishap>().Where(mishap => mishap is not (Mishap.None or Mishap.WrongSheetAlone))];

    private readonly Random _random = new(seed);
    private long _id;

    /// <summary>Draws and decides until there are so many sittings.</summary>
    public IReadOnlyDictionary<Mishap, Outcome> Run(int sittings)
    {
        SortedDictionary<Mishap, Outcome> outcomes = [];
        while (outcomes.Values.Sum(outcome => outcome.Sittings) < sittings)
        {
            Day day = new(_random);
            for (int patient = 0; patient < Patients; patient++)
            {
                LabelledFolder folder = Draw(day, patient);
                if (!outcomes.TryGetValue(folder.Mishap, out Outcome? outcome))
                {
                    outcomes[folder.Mishap] = outcome = new Outcome();
                }

                Decide(day, folder, outcome);
            }
        }

        return outcomes;
    }

    private static void Decide(Day day, LabelledFolder folder, Outcome outcome)
    {
        Sitting whole = new() { Id = 1, Source = "van", Folder = folder.Captures[0].Folder, State = SittingState.Open, Begins = folder.Begins };
        foreach (SittingPart part in SittingDivision.Divide(whole, folder.Captures, folder.Cues).Where(part => !part.Empty))
        {
            Capture[] captures = [.. folder.Captures.Where(capture => part.CaptureIds.Contains(capture.Id))];
            Cue[] cues =
            [
                .. folder.Cues.Where(cue => part.CaptureIds.Contains(cue.CaptureId)
                    || (part.FolderEvidence.Contains(cue.CaptureId) && cue.Kind is CueKind.Sidecar or CueKind.FolderName)),
            ];
            MatchCircumstances circumstances = new()
            {
                Identity = Identity.Of(whole with { Begins = part.Begins, Doubt = part.Doubt }, captures, cues),
                First = captures.Min(capture => capture.TakenAt),
                Last = captures.Max(capture => capture.TakenAt),
                StationAETitle = Station,
                Modality = "ES",
                RequireStation = true,
                DaysAround = 1,
                Worklist = "the worklist RIS",
            };
            Match match = MatchRules.Decide(1, circumstances, day.Ask(circumstances.Identity), Opens);
            outcome.Sittings++;
            if (match.StepJson is { } json)
            {
                string? filed = WorklistStep.FromJson(json).PatientID;
                outcome.Filed++;
                outcome.Wrong += captures.Any(capture => folder.Patients.TryGetValue(capture.Id, out string? patient) && patient != filed) ? 1 : 0;
            }
        }
    }

    private LabelledFolder Draw(Day day, int patient)
    {
        Mishap mishap = _random.NextDouble() < loneWrongSheets ? Mishap.WrongSheetAlone
            : _random.NextDouble() < 0.4 ? Mishap.None
            : Mishaps[_random.Next(Mishaps.Length)];
        int other = (patient + 1 + _random.Next(Patients - 1)) % Patients;
        Shooting shooting = new(this, patient);
        (string own, string next) = (Day.PatientID(patient), Day.PatientID(other));
        switch (mishap)
        {
            case Mishap.None:
                shooting.Label(own).Pictures(own);
                break;
            case Mishap.Sheet:
                shooting.Label(order: day.Order(patient)).Pictures(own);
                break;
            case Mishap.BandAndSheet:
                shooting.Label(own).Label(order: day.Order(patient)).Pictures(own);
                break;
            case Mishap.WrongSheetBeside:
                shooting.Label(own).Label(order: day.Order(other)).Pictures(own);
                break;
            case Mishap.OldSheet:
                shooting.Label(order: day.OldOrder(_random)).Pictures(own);
                break;
            case Mishap.TwoLabelsInOne:
                shooting.Label(own, alsoPatient: next).Pictures(own);
                break;
            case Mishap.NextInSameFolder:
                shooting.Label(own).Pictures(own).Label(next).Pictures(next);
                break;
            case Mishap.LeftBeforePictures:
                shooting.Label(next).Label(own).Pictures(own);
                break;
            case Mishap.SwappedFolder:
                shooting.Label(own).Pictures(own).Says(CueKind.FolderName, next);
                break;
            case Mishap.SwappedSidecar:
                shooting.Label(own).Pictures(own).Sidecar(next);
                break;
            case Mishap.Duplicate:
                shooting.Label(own).Pictures(own).Pictures(own);
                break;
            case Mishap.ReusedNumber:
                shooting.Late().Pictures(own);
                break;
            case Mishap.CounterRanOver:
                shooting.CountsFrom(9998).Label(own).Pictures(own).Label(next).Pictures(next);
                break;
            case Mishap.Unreadable:
                shooting.Label(own).Pictures(own).Unreadable(next).Pictures(next);
                break;
            case Mishap.LabelLate:
                shooting.Pictures(own).Label(own).Pictures(own);
                break;
            case Mishap.Unknown:
                shooting.Label("9999991").Pictures("9999991");
                break;
            default:
                shooting.Label(order: day.Order(other)).Pictures(own);
                break;
        }

        return shooting.ToFolder(mishap);
    }

    /// <summary>A day's worklist: a step of each patient in this room, some of other rooms and days, some closed, some patients with two.</summary>
    private sealed class Day
    {
        private readonly List<WorklistStep> _steps = [];

        public Day(Random random)
        {
            for (int patient = 0; patient < Patients; patient++)
            {
                Add(patient, "A", Station, "20261125", null);
                if (random.Next(6) == 0)
                {
                    Add(patient, "B", random.Next(2) == 0 ? Station : "CT1", "20261125", null);
                }

                // What is left lying about: sheets of yesterday's week, of the other room, of what is done.
                Add(patient, "C", Station, "20261118", null);
                Add(patient, "D", "CAM2", "20261125", null);
                Add(patient, "E", Station, "20261125", "COMPLETED");
            }
        }

        public static string PatientID(int patient) => string.Create(CultureInfo.InvariantCulture, $"P{patient:0000}");

        public string Order(int patient) => _steps.First(step => step.PatientID == PatientID(patient)).AccessionNumber!;

        public string OldOrder(Random random)
        {
            string patient = PatientID(random.Next(Patients));
            string kind = "CDE"[random.Next(3)].ToString();
            return _steps.First(step => step.PatientID == patient && step.AccessionNumber!.EndsWith(kind, StringComparison.Ordinal)).AccessionNumber!;
        }

        /// <summary>As the stage asks: by what was read, and then broadly.</summary>
        public IReadOnlyList<WorklistAnswers> Ask(Identity identity)
        {
            DateOnly today = DateOnly.FromDateTime(Opens.DateTime);
            WorklistQuestion broad = new() { StationAETitle = Station, From = today.AddDays(-1), To = today.AddDays(1) };
            WorklistAnswers[] first = [.. MatchRules.FirstQuestions(identity, broad).Select(Answer)];
            return [.. first, .. MatchRules.FurtherQuestions(identity, broad, first).Select(Answer)];
        }

        private WorklistAnswers Answer(WorklistQuestion question)
        {
            WorklistStep[] steps =
            [
                .. _steps.Where(step => (question.PatientID is null || step.PatientID == question.PatientID)
                    && (question.AccessionNumber is null || step.AccessionNumber == question.AccessionNumber)
                    && (question.StationAETitle is null || step.StationAETitles.Contains(question.StationAETitle))
                    && (question.From is null || (step.StartDate >= question.From && step.StartDate <= question.To))),
            ];
            return new WorklistAnswers(question, steps) { Total = steps.Length, Status = 0 };
        }

        private void Add(int patient, string kind, string station, string date, string? status)
        {
            string number = string.Create(CultureInfo.InvariantCulture, $"{patient:0000}{kind}");
            _steps.AddRange(WorklistStep.Of(Steps.Answer(
                PatientID(patient), number, station: station, date: date, time: string.Create(CultureInfo.InvariantCulture, $"{8 + (patient / 4):00}{patient % 4 * 15:00}"),
                stepId: number, study: string.Create(CultureInfo.InvariantCulture, $"2.25.1{patient:0000}{kind[0] - 'A'}"), status: status, name: "Sample^Any")));
        }
    }

    /// <summary>A folder while it is being photographed.</summary>
    private sealed class Shooting(LabelledClinic clinic, int patient)
    {
        private readonly List<Capture> _captures = [];
        private readonly List<Cue> _cues = [];
        private readonly Dictionary<long, string> _patients = [];
        private string _begins = SittingBegins.Folder;
        private int _number = 1 + clinic._random.Next(900);

        public Shooting Label(string? patientID = null, string? order = null, string? alsoPatient = null)
        {
            long id = Add();
            _cues.Add(Steps.Label(patientID, accession: order, capture: id));
            if (alsoPatient is not null)
            {
                _cues.Add(Steps.Label(alsoPatient, capture: id));
            }

            return this;
        }

        public Shooting Pictures(string of)
        {
            for (int count = 1 + clinic._random.Next(5); count > 0; count--)
            {
                _patients[Add()] = of;
            }

            return this;
        }

        public Shooting Unreadable(string of)
        {
            long id = Add();
            _patients[id] = of;
            _cues.Add(new Cue { CaptureId = id, Kind = CueKind.Unreadable });
            return this;
        }

        public Shooting Sidecar(string patientID)
        {
            long id = Add("0001/camerabridge.json");
            _cues.Add(new Cue { CaptureId = id, Kind = CueKind.Sidecar, PatientID = patientID });
            return this;
        }

        public Shooting Says(CueKind kind, string patientID)
        {
            _cues.Add(new Cue { CaptureId = _captures[0].Id, Kind = kind, Pattern = "folder", PatientID = patientID });
            return this;
        }

        public Shooting Late()
        {
            _begins = SittingBegins.Late;
            return this;
        }

        public Shooting CountsFrom(int number)
        {
            _number = number;
            return this;
        }

        public LabelledFolder ToFolder(Mishap mishap) => new(mishap, _begins, _captures, _cues, _patients);

        private long Add(string? place = null)
        {
            long id = ++clinic._id;
            string name = string.Create(CultureInfo.InvariantCulture, $"0001/IMG_{_number:0000}.JPG");
            _number = (_number % 9999) + 1;
            _captures.Add(Steps.Picture(id, place ?? name) with { TakenAt = Opens.AddMinutes((15 * patient) + (_captures.Count * 0.3)) });
            return id;
        }
    }
}
