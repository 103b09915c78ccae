using System.Globalization;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>An invented order, and its worklist item as the text that dcmtk's dump2dcm makes a file of.</summary>
internal sealed record Order(
    string PatientName, string PatientID, string AccessionNumber, string StudyInstanceUID, string Station, string Modality, DateOnly Date, string StepId)
{
    /// <summary>R or L where the order names a side, as a protocol code of its own (PS3.3 section C.4.10; PS3.16 CID 244).</summary>
    public string? Side { get; init; }

    private string Protocol => Side is null ? "" : $"""
        (0040,0008) SQ
        (fffe,e000) -
        (0008,0100) SH [EAR]
        (0008,0102) SH [99TEST]
        (0008,0104) LO [Ear photographs]
        (fffe,e00d) -
        (fffe,e000) -
        (0008,0100) SH [{(Side == "R" ? "24028007" : "7771000")}]
        (0008,0102) SH [SCT]
        (0008,0104) LO [{(Side == "R" ? "Right" : "Left")}]
        (fffe,e00d) -
        (fffe,e0dd) -

        """;

    public string ToDump() => string.Create(CultureInfo.InvariantCulture, $"""
        (0008,0005) CS [ISO_IR 192]
        (0008,0050) SH [{AccessionNumber}]
        (0008,0090) PN [Referrer^Rosa]
        (0010,0010) PN [{PatientName}]
        (0010,0020) LO [{PatientID}]
        (0010,0021) LO [TESTVALE]
        (0010,0030) DA [19610203]
        (0010,0040) CS [F]
        (0020,000d) UI [{StudyInstanceUID}]
        (0032,1060) LO [Ear examination]
        (0040,0100) SQ
        (fffe,e000) -
        (0008,0060) CS [{Modality}]
        (0040,0001) AE [{Station}]
        (0040,0002) DA [{Date:yyyyMMdd}]
        (0040,0003) TM [0930]
        (0040,0006) PN [Performer^Pia]
        (0040,0007) LO [Ear photographs]
        {Protocol}(0040,0009) SH [{StepId}]
        (0040,0010) SH [ROOM1]
        (fffe,e00d) -
        (fffe,e0dd) -
        (0040,1001) SH [RP{StepId}]

        """);
}
