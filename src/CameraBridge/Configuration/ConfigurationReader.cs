using CameraBridge.Dicom.Data;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Configuration;

/// <summary>
/// The vocabulary of the configuration file: which setting stands where, what it may be, and what it is when it is left out. Defaults are
/// those of the records in SiteConfiguration.cs and nowhere else.
/// </summary>
internal static class ConfigurationReader
{
    private static readonly SourceConfiguration SourceDefaults = new() { Name = "", Folder = "" };
    private static readonly PeerConfiguration PeerDefaults = new() { Name = "", Host = "", Port = 0, CalledAETitle = "" };
    private static readonly DestinationConfiguration DestinationDefaults = new() { Peer = PeerDefaults };
    private static readonly TimeSpan Second = TimeSpan.FromSeconds(1);
    private static readonly TimeSpan Day = TimeSpan.FromDays(1);

    public static SiteConfiguration Read(SettingReader root, SettingLog log)
    {
        OpticsTable optics = OpticReader.Read(root, OpticsTable.Own, log);
        SiteConfiguration defaults = new() { SpoolFolder = "", StateFile = "" };
        SiteConfiguration site = new()
        {
            Institution = ReadInstitution(root.Map("institution")),
            TimeZone = root.Zone("time_zone", defaults.TimeZone) ?? defaults.TimeZone,
            CallingAETitle = root.AETitle("calling_ae_title", defaults.CallingAETitle) ?? defaults.CallingAETitle,
            SpoolFolder = root.NeedText("spool", "Name the folder that is to hold pictures until they are delivered.", SettingValues.WholePath),
            StateFile = root.HasMap("state")
                ? ""
                : root.NeedText("state", "Name the file that is to hold the state, for example /var/lib/camerabridge/state.db, or below it the server.", SettingValues.StateFile),
            StateServer = root.HasMap("state") ? StateServerReader.Read(root.Map("state")) : null,
            Optics = optics,
            Sources = root.List("sources", source => ReadSource(source, optics)),
            Labels = ReadLabels(root.Map("labels")),
            Worklists = root.OneOrMore("worklist", WorklistReader.Read),
            Matching = ReadMatching(root.Map("matching")),
            Clips = ReadClips(root.Map("clips")),
            Retention = ReadRetention(root.Map("retention")),
            PerformedStep = root.Has("performed_step") ? ReadPerformedStep(root.Map("performed_step")) : null,
            Console = root.Has("console") ? ReadConsole(root.Map("console")) : null,
            Listen = root.Has("listen") ? ReadListen(root.Map("listen")) : null,
            Routes = root.List("routes", RouteReader.Read),
            Destinations = root.NeedList("destinations", "Name at least one archive; nothing leaves without.", ReadDestination),
        };
        root.Done();
        return site;
    }

    private static InstitutionConfiguration ReadInstitution(SettingReader reader)
    {
        InstitutionConfiguration institution = new()
        {
            Name = reader.Text("name"),
            Address = reader.Text("address", 1024),
            Department = reader.Text("department"),
        };
        reader.Done();
        return institution;
    }

    private static SourceConfiguration ReadSource(SettingReader reader, OpticsTable optics)
    {
        SettingReader station = reader.Map("station");
        SettingReader device = reader.Map("device");
        SourceConfiguration source = new()
        {
            Name = reader.NeedText("name", "Give the source a short name; reports and messages use it.", SettingValues.Name),
            Folder = reader.NeedText("folder", "Name the folder that the camera's pictures land in.", SettingValues.WholePath),
            Kind = reader.Choice("kind", SourceDefaults.Kind),
            StationAETitle = station.AETitle("ae_title"),
            StationName = station.Text("name", 16),
            Optic = reader.Get("optic", SourceDefaults.Optic, (string text, out string value) => OpticName(value = text, optics), value => value),
            TimeZone = reader.Zone("time_zone", null),
            SettleTime = reader.Duration("settle_time", SourceDefaults.SettleTime, TimeSpan.Zero, TimeSpan.FromHours(1)),
            LongestSettleTime = reader.Duration("longest_settle_time", SourceDefaults.LongestSettleTime, Second, Day),
            QuietTime = reader.Duration("quiet_time", SourceDefaults.QuietTime, Second, Day),
            RescanInterval = reader.Duration("rescan_interval", SourceDefaults.RescanInterval, TimeSpan.FromMilliseconds(100), Day),
            Device = new DeviceConfiguration
            {
                Manufacturer = device.Text("manufacturer"),
                ModelName = device.Text("model"),
                SerialNumber = device.Text("serial_number"),
                SoftwareVersions = device.Text("software"),
            },
            Release = reader.Choice("release", SourceDefaults.Release),
            ReleaseAfter = reader.Duration("release_after", SourceDefaults.ReleaseAfter, TimeSpan.Zero, 3650 * Day),
            StateNote = reader.Flag("state_note", SourceDefaults.StateNote),
            NamePatterns = PatternReader.OfNames(reader, "name_patterns"),
        };
        station.Done();
        device.Done();
        return source;
    }

    private static LabelConfiguration ReadLabels(SettingReader reader)
    {
        LabelConfiguration labels = new() { Read = reader.Flag("read", true), ScaleCards = reader.Flag("scale_cards", false), Patterns = PatternReader.OfLabels(reader, "patterns") };
        reader.Done();
        return labels;
    }

    private static ClipConfiguration ReadClips(SettingReader reader)
    {
        ClipConfiguration defaults = new();
        ClipConfiguration clips = new()
        {
            Convert = reader.Flag("convert", defaults.Convert),
            Ffmpeg = reader.Get("ffmpeg", defaults.Ffmpeg, (string text, out string? value) => SettingValues.WholePath(value = text), value => value ?? ""),
            LesserProfiles = reader.Choice("lesser_profiles", defaults.LesserProfiles),
            UnfitSound = reader.Choice("unfit_sound", defaults.UnfitSound),
            LongestConversion = reader.Duration("longest_conversion", defaults.LongestConversion, Second, Day),
        };
        reader.Done();
        return clips;
    }

    private static MatchingConfiguration ReadMatching(SettingReader reader)
    {
        MatchingConfiguration defaults = new();
        MatchingConfiguration matching = new()
        {
            Unidentified = reader.Choice("unidentified", defaults.Unidentified),
            Threshold = reader.Get(
                "threshold", defaults.Threshold, SettingValues.Probability, value => value.ToString(System.Globalization.CultureInfo.InvariantCulture)),
        };
        reader.Done();
        return matching;
    }

    private static RetentionConfiguration ReadRetention(SettingReader reader)
    {
        RetentionConfiguration defaults = new();
        RetentionConfiguration retention = new()
        {
            KeepSpool = reader.Duration("keep_spool", defaults.KeepSpool, TimeSpan.FromHours(1), 3650 * Day),
            KeepState = reader.Duration("keep_state", defaults.KeepState, TimeSpan.FromHours(1), 36500 * Day),
            SpoolFloor = reader.Get("spool_floor", defaults.SpoolFloor, SizeReader.Read, SizeReader.Write),
        };
        reader.Done();
        return retention;
    }

    private static PerformedStepConfiguration ReadPerformedStep(SettingReader reader)
    {
        PerformedStepConfiguration defaults = new() { Peer = PeerDefaults };
        PeerConfiguration peer = ReadPeer(reader, "");
        PerformedStepConfiguration step = new()
        {
            Peer = peer with { Name = peer.CalledAETitle },
            FirstRetryDelay = reader.Duration("first_retry_delay", defaults.FirstRetryDelay, TimeSpan.FromMilliseconds(100), Day),
            LongestRetryDelay = reader.Duration("longest_retry_delay", defaults.LongestRetryDelay, Second, 7 * Day),
            GiveUpAfter = reader.Duration("give_up_after", defaults.GiveUpAfter, Second, 3650 * Day),
        };
        reader.Done();
        return step;
    }

    private static ConsoleConfiguration ReadConsole(SettingReader reader)
    {
        ConsoleConfiguration defaults = new() { Port = 0 };
        ConsoleConfiguration console = new()
        {
            Port = reader.NeedPort("Write the port that browsers are to use, for example 8080."),
            Address = reader.Get("address", defaults.Address, (string text, out System.Net.IPAddress value) => Address(text, out value), value => value.ToString()),
        };
        reader.Done();
        return console;
    }

    private static ListenConfiguration ReadListen(SettingReader reader)
    {
        ListenConfiguration defaults = new() { Port = 0 };
        ListenConfiguration listen = new()
        {
            Port = reader.NeedPort("Write the port that archives report to; they must know this gateway by its AE title, address and port."),
            Address = reader.Get("address", defaults.Address, (string text, out System.Net.IPAddress value) => Address(text, out value), value => value.ToString()),
            AETitle = reader.AETitle("ae_title"),
        };
        reader.Done();
        return listen;
    }

    private static DestinationConfiguration ReadDestination(SettingReader reader) => new()
    {
        Peer = reader.Has("url") ? null : ReadPeer(reader, DestinationName(reader)),
        Web = reader.Has("url") ? WebReader.Read(reader, DestinationName(reader)) : null,
        Associations = reader.Number("associations", DestinationDefaults.Associations, 1, 16),
        FirstRetryDelay = reader.Duration("first_retry_delay", DestinationDefaults.FirstRetryDelay, TimeSpan.FromMilliseconds(100), Day),
        LongestRetryDelay = reader.Duration("longest_retry_delay", DestinationDefaults.LongestRetryDelay, Second, 7 * Day),
        FragmentableVideo = reader.Flag("fragmentable_video", DestinationDefaults.FragmentableVideo),
        Bandwidth = reader.List("bandwidth", BandwidthReader.Read),
        ConfirmBy = reader.Choice("confirm_by", DestinationDefaults.ConfirmBy),
        ReportLimit = reader.Duration("report_limit", DestinationDefaults.ReportLimit, Second, 7 * Day),
        GiveUpAfter = reader.Duration("give_up_after", DestinationDefaults.GiveUpAfter, Second, 3650 * Day),
    };

    private static string DestinationName(SettingReader reader) =>
        reader.NeedText("name", "Give the destination a short name; reports and messages use it.", SettingValues.Name);

    /// <summary>A peer that is reached by DIMSE.</summary>
    public static PeerConfiguration ReadPeer(SettingReader reader, string name) => new()
    {
        Name = name,
        Host = reader.NeedText("host", "Write the name or address of the machine.", HostName),
        Port = reader.NeedPort("Write the port that it listens on, often 104 or 11112."),
        CalledAETitle = reader.Need(
            "called_ae_title",
            "",
            "Write the AE title that it answers to.",
            (string text, out string value) => SettingValues.AETitle(value = text.Trim(' ')),
            value => value),
        CallingAETitle = reader.AETitle("calling_ae_title"),
        FallbackCharacterSet = reader.Get("fallback_character_set", null, (string text, out string? value) => CharacterSetTerm(value = text), value => value ?? ""),
        ConnectLimit = reader.Duration("connect_limit", PeerDefaults.ConnectLimit, Second, TimeSpan.FromHours(1)),
        ResponseLimit = reader.Duration("response_limit", PeerDefaults.ResponseLimit, Second, TimeSpan.FromHours(1)),
    };

    private static ValueFault? Address(string text, out System.Net.IPAddress value)
    {
        bool read = System.Net.IPAddress.TryParse(text, out System.Net.IPAddress? address);
        value = address ?? System.Net.IPAddress.Any;
        return read ? null : new ValueFault("is no address of this machine", "Write for example 10.1.2.3, or 0.0.0.0 for all of its addresses.");
    }

    public static ValueFault? HostName(string text) =>
        Uri.CheckHostName(text) == UriHostNameType.Unknown
            ? new ValueFault("is no name of a machine and no address", "Write for example pacs.hospital.example or 10.1.2.3, without port and without http://.")
            : null;

    private static ValueFault? OpticName(string text, OpticsTable optics) =>
        optics.TryFind(text, out _) ? null
        : new ValueFault(
            "is no optic",
            NearestWord.Of(text, optics.Names) is { } nearest ? $"Did you mean {nearest}?" : $"Optics are {string.Join(", ", optics.Names)}.");

    private static ValueFault? CharacterSetTerm(string text) =>
        CharacterSet.FromSpecificCharacterSet([text]).Flaw is null
            ? null
            : new ValueFault("is no character set of DICOM", "Write a defined term of (0008,0005), for example ISO_IR 100 or ISO_IR 192.");
}
