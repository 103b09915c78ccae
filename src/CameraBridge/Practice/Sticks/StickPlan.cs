using System.Globalization;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using ZXing;

namespace CameraBridge.Practice.Sticks;

/// <summary>One picture of a practice stick.</summary>
internal abstract record Shot;

/// <summary>A label shot: whose pictures follow.</summary>
internal sealed record LabelShot(params IReadOnlyList<LabelCode> Codes) : Shot;

/// <summary>A clinical picture; torn: its file ends in the middle, as when a stick is pulled out too early.</summary>
internal sealed record PictureShot(Motif Motif, bool Torn = false) : Shot;

/// <summary>A numbered folder of the stick, and the text of its sidecar file where it has one.</summary>
internal sealed record StickFolder(string Name, IReadOnlyList<Shot> Shots, string? Sidecar = null)
{
    /// <summary>When its pictures begin, by the camera's clock; null: some minutes after the folder before.</summary>
    public DateTime? Begins { get; init; }
}

/// <summary>An invented order that the practice worklist knows.</summary>
internal sealed record StickOrder(
    string PatientName,
    string PatientID,
    DateOnly PatientBirthDate,
    string PatientSex,
    string AccessionNumber,
    string Modality,
    string Description,
    DateTime ScheduledAt)
{
    public string StationAETitle { get; init; } = StickPlan.StationAETitle;

    /// <summary>R, L or B where the order names a side.</summary>
    public string? Side { get; init; }
}

/// <summary>Pictures that must be filed under an order.</summary>
/// <param name="Folder">Where they lie.</param>
/// <param name="AccessionNumber">The order.</param>
/// <param name="Pictures">How many.</param>
/// <param name="Sides">The sides of the pictures in their order, as R, L, B and '-' for none; null where no cue tells any.</param>
internal sealed record ExpectedFiled(string Folder, string AccessionNumber, int Pictures, string? Sides = null);

/// <summary>Captures of a folder that must be held, or nobody's rather than the wrong one's.</summary>
internal sealed record ExpectedHeld(string Folder, int Captures, string Why);

/// <summary>What the flow must make of the stick: known to who drew it, and to nobody else in the program.</summary>
internal sealed record StickTruth(IReadOnlyList<ExpectedFiled> Filed, IReadOnlyList<ExpectedHeld> Held);

/// <summary>What is on a practice stick, who is expected that day, and what must come of it.</summary>
internal sealed record StickPlan(IReadOnlyList<StickFolder> Folders, IReadOnlyList<StickOrder> Orders, StickTruth Truth)
{
    public const string StationAETitle = "HOLLINCAM1";
    public const string Issuer = "HOLLINVALE";

    /// <summary>
    /// A morning at the invented outreach clinic Hollin Vale: three plain patients with a QR, a Code 128 and a DataMatrix label, and then everything that
    /// goes wrong in a morning.
    /// </summary>
    public static StickPlan Clinic(DateOnly day)
    {
        StickOrder[] orders =
        [
            Order(day, 1, "Quillfeather^Odo", "M", "ES", "Otoscopy, both ears"),
            Order(day, 2, "Bramblewick^Tansy", "F", "XC", "Skin lesion, left forearm"),
            Order(day, 3, "Öländer^Märta", "F", "ES", "Throat, after tonsillectomy"),
            Order(day, 4, "Sallowby^Piers", "M", "XC", "Wound check, right shin"),
            Order(day, 5, "Marrowdown^Hettie", "F", "XC", "Teeth, overview"),
            Order(day, 6, "Thistlecombe^Ansel", "M", "ES", "Otoscopy, right ear"),
            Order(day, 7, "Fenwold^Ignatia", "F", "XC", "Skin, follow-up"),
            Order(day, 8, "Larkspur^Wendel", "M", "XC", "Wound, first visit"),
            Order(day, 9, "Nettlefold^Quill", "F", "ES", "Otoscopy, both ears"),
            Order(day, 10, "Copperthwaite^Ivo", "M", "ES", "Otoscopy, right ear") with { Side = "R" },
        ];
        StickFolder[] folders =
        [
            new("0001", [Band(BarcodeFormat.QR_CODE, orders[0]), .. Pictures(Motif.Eardrum, 4)]),
            new("0002", [Sheet(BarcodeFormat.CODE_128, orders[1]), .. Pictures(Motif.Skin, 3)]),
            new("0003", [Band(BarcodeFormat.DATA_MATRIX, orders[2]), .. Pictures(Motif.Throat, 3)]),
            new("0004", [new LabelShot(new LabelCode(BarcodeFormat.QR_CODE, "PID:9999991")), .. Pictures(Motif.Wound, 2)]),
            new("0005", [.. Pictures(Motif.Throat, 3)]),
            new("0006", [Band(BarcodeFormat.QR_CODE, orders[3]), .. Pictures(Motif.Wound, 2), Sheet(BarcodeFormat.QR_CODE, orders[4]), .. Pictures(Motif.Teeth, 3)]),
            new("0007", [new LabelShot(BandCode(BarcodeFormat.QR_CODE, orders[6]), BandCode(BarcodeFormat.QR_CODE, orders[7])), .. Pictures(Motif.Skin, 2)]),
            new(
                "0008",
                [.. Pictures(Motif.Eardrum, 2), new PictureShot(Motif.Eardrum, Torn: true)],
                $$"""{ "version": 1, "accession_number": "{{orders[5].AccessionNumber}}", "side": "R", "optic": "ear" }"""),
            new(
                "0009",
                [
                    Band(BarcodeFormat.QR_CODE, orders[8]), Card(CardKeys.Optic, "ear"), Card(CardKeys.Side, "R"), .. Pictures(Motif.Eardrum, 2),
                    Card(CardKeys.Side, "L"), .. Pictures(Motif.Eardrum, 3), Card(CardKeys.Ignore, CardKeys.IgnoreLast), Card(CardKeys.Done, CardKeys.DonePatient),
                ]),
            new("0010", [Band(BarcodeFormat.QR_CODE, orders[9]), Card(CardKeys.Optic, "ear"), Card(CardKeys.Side, "L"), .. Pictures(Motif.Eardrum, 2)]),
        ];
        StickTruth truth = new(
            [
                new("0001", orders[0].AccessionNumber, 4),
                new("0002", orders[1].AccessionNumber, 3),
                new("0003", orders[2].AccessionNumber, 3),
                new("0006", orders[3].AccessionNumber, 2),
                new("0006", orders[4].AccessionNumber, 3),
                new("0008", orders[5].AccessionNumber, 2, "RR"),
                new("0009", orders[8].AccessionNumber, 4, "RRLL"),
            ],
            [
                new("0004", 3, "the label names a patient that the worklist does not know"),
                new("0005", 3, "no label"),
                new("0007", 3, "two patients' labels in one picture"),
                new("0008", 1, "the last file is torn"),
                new("0010", 5, "the order is for the right ear, and a cue card says the left"),
            ]);
        return new StickPlan(folders, orders, truth);
    }

    /// <summary>Any number of labelled folders with any number of pictures each, for measuring.</summary>
    public static StickPlan Many(DateOnly day, int folders, int pictures)
    {
        StickOrder[] orders = [.. Enumerable.Range(1, folders).Select(number =>
            Order(day, number, string.Create(CultureInfo.InvariantCulture, $"Practice^Person {number}"), number % 2 == 0 ? "F" : "M", "XC", "Photographs"))];
        return new StickPlan(
            [.. orders.Select((order, index) => new StickFolder(
                string.Create(CultureInfo.InvariantCulture, $"{index + 1:0000}"),
                [Band(BarcodeFormat.QR_CODE, order), .. Enumerable.Range(0, pictures).Select(picture => new PictureShot((Motif)(picture % 5)))])
            {
                // So that many folders do not run into the days to come, which no camera's clock shows.
                Begins = order.ScheduledAt.AddMinutes(4),
            })],
            orders,
            new StickTruth(
                [.. orders.Select((order, index) => new ExpectedFiled(string.Create(CultureInfo.InvariantCulture, $"{index + 1:0000}"), order.AccessionNumber, pictures))],
                []));
    }

    private static StickOrder Order(DateOnly day, int number, string name, string sex, string modality, string description) => new(
        name,
        (4100010 + (number * 7)).ToString(CultureInfo.InvariantCulture),
        new DateOnly(1931 + (number * 9 % 80), 1 + (number % 12), 1 + (number * 5 % 28)),
        sex,
        string.Create(CultureInfo.InvariantCulture, $"HV{260000 + number}"),
        modality,
        description,
        day.ToDateTime(new TimeOnly(8, 30)).AddMinutes(15 * (number % 40)));

    private static LabelShot Band(BarcodeFormat format, StickOrder order) => new(BandCode(format, order));

    private static LabelCode BandCode(BarcodeFormat format, StickOrder order) => new(format, $"PID:{order.PatientID}");

    private static LabelShot Sheet(BarcodeFormat format, StickOrder order) => new(new LabelCode(format, $"ACC:{order.AccessionNumber}"));

    private static LabelShot Card(string key, string value) => new(new LabelCode(BarcodeFormat.QR_CODE, CardText.Write(new CardCue(key, value))));

    private static IEnumerable<Shot> Pictures(Motif motif, int count) => Enumerable.Repeat(new PictureShot(motif), count);
}
