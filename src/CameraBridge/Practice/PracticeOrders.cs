using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Mapping;
using CameraBridge.Pipeline.Objects.Optics;
using YamlDotNet.Core;

namespace CameraBridge.Practice;

/// <summary>One invented order of the practice hospital, with one scheduled step.</summary>
internal sealed record PracticeOrder
{
    public required string AccessionNumber { get; init; }

    public required string PatientName { get; init; }

    public required string PatientID { get; init; }

    public string? IssuerOfPatientID { get; init; }

    public DateOnly? PatientBirthDate { get; init; }

    /// <summary>M, F or O (PS3.3 section C.7.1.1).</summary>
    public string? PatientSex { get; init; }

    public required string ScheduledProcedureStepID { get; init; }

    public string? RequestedProcedureID { get; init; }

    public required string ScheduledStationAETitle { get; init; }

    public required string Modality { get; init; }

    public string? Description { get; init; }

    public string? ReferringPhysicianName { get; init; }

    public string? Status { get; init; }

    /// <summary>R, L or B where the order names a side.</summary>
    public string? Side { get; init; }

    public string? StudyInstanceUID { get; init; }

    public required PracticeStart Start { get; init; }

    /// <summary>The worklist item of this order on the given day.</summary>
    public DataSet ToWorklistItem(DateOnly today)
    {
        DateTime start = Start.On(today);
        var step = new DataSet();
        step.Set(Tags.Modality, Modality);
        step.Set(Tags.ScheduledStationAETitle, ScheduledStationAETitle);
        step.SetDate(Tags.ScheduledProcedureStepStartDate, DateOnly.FromDateTime(start));
        step.SetTime(Tags.ScheduledProcedureStepStartTime, TimeOnly.FromDateTime(start));
        step.SetEmpty(Tags.ScheduledPerformingPhysicianName);
        step.Set(Tags.ScheduledProcedureStepDescription, Description);
        step.Set(Tags.ScheduledProcedureStepID, ScheduledProcedureStepID);
        step.SetEmpty(Tags.ScheduledStationName);
        step.SetEmpty(Tags.ScheduledProcedureStepLocation);
        step.Set(Tags.ScheduledProcedureStepStatus, Status);
        if (Side is { } side)
        {
            // Beside the code of the protocol, as worklists send modifiers; not all of them can send the context of a protocol (PS3.3 section C.4.10).
            step.SetItems(Tags.ScheduledProtocolCodeSequence, new Code("PRACTICE", "99CAMERABRIDGE", "Photographs").ToItem(), AnatomyMapping.SideCode(side).ToItem());
        }

        var item = new DataSet();
        item.Set(Tags.AccessionNumber, AccessionNumber);
        item.Set(Tags.ReferringPhysicianName, ReferringPhysicianName);
        item.Set(Tags.PatientName, PatientName);
        item.Set(Tags.PatientID, PatientID);
        item.Set(Tags.IssuerOfPatientID, IssuerOfPatientID);
        if (PatientBirthDate is { } birth)
        {
            item.SetDate(Tags.PatientBirthDate, birth);
        }
        else
        {
            item.SetEmpty(Tags.PatientBirthDate);
        }

        item.Set(Tags.PatientSex, PatientSex);
        item.Set(Tags.StudyInstanceUID, StudyInstanceUID ?? Derive(AccessionNumber));
        item.Set(Tags.RequestedProcedureDescription, Description);
        item.Set(Tags.RequestedProcedureID, RequestedProcedureID ?? ScheduledProcedureStepID);
        item.SetItems(Tags.ScheduledProcedureStepSequence, step);
        return item;
    }

    /// <summary>The same study for the same order after a restart: a UID from the accession number, not from a clock.</summary>
    private static string Derive(string accessionNumber)
    {
        byte[] hash = SHA256.HashData(Encoding.UTF8.GetBytes("practice order " + accessionNumber));
        return Uids.FromUuid(new Guid(hash.AsSpan(0, 16)));
    }
}

/// <summary>When a step is planned: on a fixed day, or so many days from today, so that an order file stays good.</summary>
internal readonly record struct PracticeStart(DateOnly? Day, int DaysFromToday, TimeOnly Time)
{
    public DateTime On(DateOnly today) => (Day ?? today.AddDays(DaysFromToday)).ToDateTime(Time);

    /// <summary>Reads "2026-01-31 09:30", "today 09:30", "tomorrow 09:30", "yesterday 09:30", "today+2 09:30" or "today-2 09:30".</summary>
    public static ValueFault? Read(string text, out PracticeStart start)
    {
        const string Fix = "Write a day (today, tomorrow, yesterday, today+2, or 2026-01-31) and a time, like today 09:30.";
        start = default;
        if (text.Split(' ', StringSplitOptions.RemoveEmptyEntries) is not [var day, var clock])
        {
            return new ValueFault("is not a day and a time", Fix);
        }

        if (!TimeOnly.TryParseExact(clock, ["HH:mm", "HH:mm:ss"], CultureInfo.InvariantCulture, DateTimeStyles.None, out TimeOnly time))
        {
            return new ValueFault($"has no time: {clock}", Fix);
        }

        if (DateOnly.TryParseExact(day, "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out DateOnly fixedDay))
        {
            start = new PracticeStart(fixedDay, 0, time);
            return null;
        }

        int days = 0;
        bool known = day switch
        {
            "today" => true,
            "tomorrow" => (days = 1) == 1,
            "yesterday" => (days = -1) == -1,
            _ => day.StartsWith("today", StringComparison.Ordinal)
                && int.TryParse(day.AsSpan("today".Length), NumberStyles.AllowLeadingSign, CultureInfo.InvariantCulture, out days) && Math.Abs(days) <= 3650,
        };
        start = new PracticeStart(null, days, time);
        return known ? null : new ValueFault($"has no day: {day}", Fix);
    }

    public override string ToString() => string.Create(
        CultureInfo.InvariantCulture, $"{(Day is { } day ? day.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture) : $"today{DaysFromToday:+0;-0;+0}")} {Time:HH:mm}");
}

/// <summary>
/// Reads the orders of the practice hospital from YAML:
/// <code>
/// orders:
///   - accession_number: A0001
///     patient_name: Sample^Ida
///     patient_id: 'P0001'
///     issuer: TESTVALE          # and birth_date, sex, description, referring_physician, procedure_id, status, side, study_instance_uid: if wanted
///     step_id: SPS0001
///     station_ae_title: CAM1
///     modality: ES
///     start: today 09:30
/// </code>
/// </summary>
internal static class PracticeOrders
{
    /// <summary>Reads a file.</summary>
    /// <exception cref="ConfigurationException">Every problem of the file.</exception>
    public static IReadOnlyList<PracticeOrder> Load(string path)
    {
        try
        {
            return Parse(File.ReadAllText(path), path);
        }
        catch (Exception fault) when (fault is IOException or UnauthorizedAccessException)
        {
            throw new ConfigurationException(
                [new ConfigurationProblem(path, 0, 0, "", "", $"cannot be read ({fault.Message.TrimEnd('.')})", "Name a file of orders.")]);
        }
    }

    /// <exception cref="ConfigurationException">Every problem of the text.</exception>
    public static IReadOnlyList<PracticeOrder> Parse(string text, string file)
    {
        var log = new SettingLog(file);
        YamlPart? root;
        try
        {
            root = YamlTree.Parse(text);
        }
        catch (YamlException fault)
        {
            throw new ConfigurationException(
                [new ConfigurationProblem(file, (int)fault.End.Line, (int)fault.End.Column, "", "", "is not readable as YAML here", "Check indentation, colons and quotes.")]);
        }

        var reader = new SettingReader(log, "", root ?? new YamlMap(1, 1, []));
        IReadOnlyList<PracticeOrder> orders = reader.List("orders", ReadOrder);
        reader.Done();
        return log.Problems.Count == 0 ? orders : throw new ConfigurationException(log.Problems);
    }

    private static PracticeOrder ReadOrder(SettingReader reader) => new()
    {
        AccessionNumber = reader.NeedText("accession_number", "Every order has one, of at most 16 characters.", Plain(16)),
        PatientName = reader.NeedText("patient_name", "Write an invented name as Family^Given.", Plain(64)),
        PatientID = reader.NeedText("patient_id", "Every patient has one, of at most 64 characters.", Plain(64)),
        IssuerOfPatientID = reader.Text("issuer"),
        PatientBirthDate = reader.Get<DateOnly?>("birth_date", null, ReadDay, day => day?.ToString("yyyy-MM-dd", CultureInfo.InvariantCulture) ?? ""),
        PatientSex = reader.Get<string?>("sex", null, ReadSex, sex => sex ?? ""),
        ScheduledProcedureStepID = reader.NeedText("step_id", "Every step has an ID of at most 16 characters.", Plain(16)),
        RequestedProcedureID = reader.Text("procedure_id", 16),
        ScheduledStationAETitle = reader.NeedText("station_ae_title", "Name the station of the camera that the step is planned for.", SettingValues.AETitle),
        Modality = reader.NeedText("modality", "ES for endoscopes and otoscopes, XC for photographs.", Code),
        Description = reader.Text("description"),
        ReferringPhysicianName = reader.Text("referring_physician"),
        Status = reader.Get("status", null, (string text, out string? value) => Code(value = text), value => value ?? ""),
        Side = reader.Get<string?>("side", null, ReadSide, side => side ?? ""),
        StudyInstanceUID = reader.Get<string?>("study_instance_uid", null, ReadUid, uid => uid ?? ""),
        Start = reader.Need("start", default, "Write when the step is planned, like today 09:30.", (string text, out PracticeStart start) => PracticeStart.Read(text, out start), start => start.ToString()),
    };

    private static Func<string, ValueFault?> Plain(int longest) => text =>
        text.Length == 0 || text.Length > longest || text.Contains('\\', StringComparison.Ordinal) || text.Any(char.IsControl)
            ? new ValueFault("is no text that DICOM takes here", string.Create(CultureInfo.InvariantCulture, $"Write 1 to {longest} characters without a backslash."))
            : null;

    /// <summary>A code string (VR CS, PS3.5 section 6.2).</summary>
    private static ValueFault? Code(string text) =>
        text.Length is > 0 and <= 16 && text.All(c => c is (>= 'A' and <= 'Z') or (>= '0' and <= '9') or ' ' or '_')
            ? null
            : new ValueFault("is no DICOM code", "Write 1 to 16 capital letters, digits, spaces or underscores.");

    private static ValueFault? ReadDay(string text, out DateOnly? value)
    {
        bool good = DateOnly.TryParseExact(text, "yyyy-MM-dd", CultureInfo.InvariantCulture, DateTimeStyles.None, out DateOnly day);
        value = good ? day : null;
        return good ? null : new ValueFault("is no date", "Write it as YYYY-MM-DD.");
    }

    private static ValueFault? ReadSex(string text, out string? value) =>
        (value = text) is "M" or "F" or "O" ? null : new ValueFault("is none of the choices", "Write M, F or O, or leave it out.");

    private static ValueFault? ReadSide(string text, out string? value) =>
        (value = text) is "R" or "L" or "B" ? null : new ValueFault("is no side", "Write R, L or B (both), or leave it out.");

    private static ValueFault? ReadUid(string text, out string? value) =>
        Uids.IsValid(value = text) ? null : new ValueFault("is no UID", "Write digits and dots, at most 64 characters, or leave it out.");
}
