using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using CameraBridge.Practice;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Practice;

/// <summary>The practice hospital, asked and sent to by dcmtk's own users.</summary>
public sealed class PracticeHospitalTests : IDisposable
{
    private readonly string _folder = Directory.CreateTempSubdirectory("camerabridge-practice-").FullName;
    private readonly FakeTimeProvider _clock = new(new DateTimeOffset(2026, 11, 25, 22, 30, 0, TimeSpan.Zero));

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    private string Archive => Path.Combine(_folder, "archive");

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    [Fact]
    public async Task Echoscu_is_answered_under_its_title_only()
    {
        await using PracticeHospital hospital = await StartAsync();

        Assert.Equal(0, (await RunAsync("echoscu", "-aec", "PRACTICE", "127.0.0.1", Port(hospital))).ExitCode);
        Assert.NotEqual(0, (await RunAsync("echoscu", "-aec", "OTHER", "127.0.0.1", Port(hospital))).ExitCode);
    }

    [Theory]
    // 22:30 UTC is 23:30 of the same day in Berlin: "today" is the hospital's day.
    [InlineData("ScheduledProcedureStepSequence[0].ScheduledProcedureStepStartDate=20261125", 1)]
    [InlineData("ScheduledProcedureStepSequence[0].ScheduledProcedureStepStartDate=20261126", 1)]
    [InlineData("ScheduledProcedureStepSequence[0].ScheduledProcedureStepStartDate=20261125-20261126", 2)]
    [InlineData("ScheduledProcedureStepSequence[0].ScheduledStationAETitle=CAM1", 1)]
    [InlineData("PatientID=P0002", 1)]
    [InlineData("PatientName=Mü*", 1)]
    [InlineData("PatientName=*", 2)]
    [InlineData("PatientID=P00??", 2)]
    [InlineData("PatientID=Q*", 0)]
    public async Task Findscu_gets_the_steps_that_match(string key, int matches)
    {
        await using PracticeHospital hospital = await StartAsync();
        string answers = Directory.CreateDirectory(Path.Combine(_folder, "answers")).FullName;

        (int code, string output) = await RunAsync(
            "findscu", "-W", "-X", "-od", answers, "-aec", "PRACTICE", "-k", "SpecificCharacterSet=ISO_IR 192", "-k", "PatientName", "-k", "PatientID",
            "-k", "StudyInstanceUID", "-k", "ScheduledProcedureStepSequence[0].ScheduledProcedureStepStartDate", "-k", key, "127.0.0.1", Port(hospital));

        Assert.True(code == 0, output);
        string[] files = Directory.GetFiles(answers);
        Assert.Equal(matches, files.Length);
        foreach (string file in files)
        {
            DataSet answer = (await Part10File.OpenAsync(file, cancellationToken: Cancellation)).DataSet;
            Assert.True(Uids.IsValid(answer.GetString(Tags.StudyInstanceUID)));
            Assert.False(answer.Contains(Tags.AccessionNumber));
        }
    }

    [Fact]
    public async Task Storescu_stores_an_object_once_and_byte_for_byte()
    {
        await using PracticeHospital hospital = await StartAsync();
        string file = WriteObject("2.25.77", "first");

        Assert.Equal(0, (await StoreAsync(hospital, file)).ExitCode);
        Assert.Equal(0, (await StoreAsync(hospital, file)).ExitCode);

        string stored = Assert.Single(Directory.GetFiles(Archive));
        Assert.Equal("2.25.77.dcm", Path.GetFileName(stored));
        Part10File received = await Part10File.OpenAsync(stored, cancellationToken: Cancellation);
        Part10File sent = await Part10File.OpenAsync(file, cancellationToken: Cancellation);
        Assert.Equal(ElementWriter.ToBytes(sent.DataSet, TransferSyntax.JpegBaseline), ElementWriter.ToBytes(received.DataSet, TransferSyntax.JpegBaseline));
        Assert.Equal(TransferSyntaxes.JPEGBaseline8Bit, received.Meta.TransferSyntaxUID);
        Assert.Equal(1, hospital.Stored);
    }

    [Fact]
    public async Task Another_object_under_a_stored_uid_is_refused_and_the_first_is_kept()
    {
        await using PracticeHospital hospital = await StartAsync();
        await StoreAsync(hospital, WriteObject("2.25.77", "first"));
        byte[] before = await File.ReadAllBytesAsync(Path.Combine(Archive, "2.25.77.dcm"), Cancellation);

        (int code, string output) = await StoreAsync(hospital, WriteObject("2.25.77", "second"));

        Assert.True(code != 0 || output.Contains("0x0111", StringComparison.Ordinal) || output.Contains("Duplicate", StringComparison.OrdinalIgnoreCase), output);
        Assert.Equal(before, await File.ReadAllBytesAsync(Path.Combine(Archive, "2.25.77.dcm"), Cancellation));
        Assert.Single(Directory.GetFiles(Archive));
    }

    private static string Port(PracticeHospital hospital) => hospital.EndPoint.Port.ToString(System.Globalization.CultureInfo.InvariantCulture);

    private static Task<(int ExitCode, string Output)> RunAsync(string program, params string[] arguments) =>
        PeerProcess.RunAsync(program, arguments, Cancellation);

    private static Task<(int ExitCode, string Output)> StoreAsync(PracticeHospital hospital, string file) =>
        RunAsync("storescu", "-v", "-R", "-xy", "-aec", "PRACTICE", "127.0.0.1", Port(hospital), file);

    private string WriteObject(string uid, string comment)
    {
        var dataSet = new DataSet();
        dataSet.Set(Tags.SOPClassUID, SopClasses.VLPhotographicImageStorage);
        dataSet.Set(Tags.SOPInstanceUID, uid);
        dataSet.Set(Tags.PatientID, "P0001");
        dataSet.Set(Tags.ImageComments, comment);
        dataSet.Put(Element.FromEncapsulated(Tags.PixelData, new EncapsulatedPixels(default, [PixelSource.FromBytes(new byte[4096])])));
        string path = Path.Combine(_folder, comment + ".dcm");
        PixelSource file = Part10File.Encode(
            new FileMeta(SopClasses.VLPhotographicImageStorage, uid, TransferSyntaxes.JPEGBaseline8Bit),
            ElementWriter.Encode(dataSet, TransferSyntax.JpegBaseline));
        using Stream read = file.OpenRead();
        using FileStream write = File.Create(path);
        read.CopyTo(write);
        return path;
    }

    private Task<PracticeHospital> StartAsync() => PracticeHospital.StartAsync(
        new PracticeOptions
        {
            Orders = PracticeOrders.Parse(
                """
                orders:
                  - { accession_number: A1, patient_name: Müller^Änne, patient_id: P0001, step_id: S1, station_ae_title: CAM1, modality: ES, start: today 09:00 }
                  - { accession_number: A2, patient_name: Sample^Otto, patient_id: P0002, step_id: S2, station_ae_title: CAM2, modality: XC, start: tomorrow 09:00 }
                """,
                "orders.yaml"),
            ArchiveFolder = Archive,
            TimeZone = TimeZoneInfo.FindSystemTimeZoneById("Europe/Berlin"),
        },
        _clock,
        NullLogger<PracticeHospital>.Instance,
        Cancellation);
}
