using CameraBridge.Configuration;
using CameraBridge.Pipeline.Sittings.Cues.Labels;
using CameraBridge.Tests.Meta;
using Xunit;

namespace CameraBridge.Tests.Configuration;

/// <summary>Every error at once, each at its line and column. Lines and columns are counted by hand in the texts below, from 1.</summary>
public sealed class ConfigurationFileTests
{
    /// <summary>The least that is a configuration; tests put their lines after it.</summary>
    private const string Least = """
        spool: /var/lib/cb/spool
        state: /var/lib/cb/state.db
        destinations:
          - name: archive
            host: pacs.example
            port: 104
            called_ae_title: ARCHIVE

        """;

    [Fact]
    public void The_least_configuration_has_the_defaults_of_the_records()
    {
        SiteConfiguration site = Accept(Least + """
            sources:
              - name: room1
                folder: /srv/room1
            """);

        SourceConfiguration source = Assert.Single(site.Sources);
        Assert.Equal(new SourceConfiguration { Name = "room1", Folder = "/srv/room1" } with { NamePatterns = source.NamePatterns }, source);
        Assert.Equal("CAMERABRIDGE", site.CallingAETitle);
        Assert.True(site.Labels.Read);
        Assert.Empty(site.Worklists);
        Assert.Equal(TimeSpan.FromDays(7), site.Destinations[0].GiveUpAfter);
    }

    [Fact]
    public void Every_error_is_reported_at_once_in_the_order_of_the_file()
    {
        ConfigurationFile file = ConfigurationFile.Parse(
            """
            spol: /var/lib/cb/spool
            state: var/state.db
            time_zone: Europe/Lisboa
            sources:
              - name: room 1
                folder: /srv/room1
                settle_time: 3
                quiet_time: soon
                quiet_time: 2 min
              - folder: /srv/room2
                kind: usb
            destinations:
              - name: archive
                host: http://pacs.example
                port: 70000
                called_ae_title: ARCHIVE_OF_THE_WHOLE_HOSPITAL
            """,
            "site.yaml");

        Assert.Null(file.Site);
        Assert.Equal(
            [
                "site.yaml:1:1: spool: is missing. Name the folder that is to hold pictures until they are delivered.",
                "site.yaml:1:1: spol: /var/lib/cb/spool: is no setting here. Did you mean spool?",
                "site.yaml:2:8: state: var/state.db: is not an absolute path. Write it from the root, for example /srv/cameras/room1.",
                "site.yaml:3:12: time_zone: Europe/Lisboa: is no time zone that this machine knows. Did you mean Europe/Lisbon?",
                "site.yaml:5:11: sources[1].name: room 1: is no name. Use 1 to 40 letters, digits, '-' and '_'.",
                "site.yaml:7:18: sources[1].settle_time: 3: has no unit. Write for example 3 s or 3 min.",
                "site.yaml:8:17: sources[1].quiet_time: soon: is no duration. Write a number and a unit, for example 3 s, 2 min, 1 h or 7 days.",
                "site.yaml:9:5: sources[1].quiet_time: stands here a second time, the first is in line 8. Remove one of the two.",
                "site.yaml:10:5: sources[2].name: is missing. Give the source a short name; reports and messages use it.",
                "site.yaml:11:11: sources[2].kind: usb: is none of the choices. Write one of share, stick.",
                "site.yaml:14:11: destinations[1].host: http://pacs.example: is no name of a machine and no address. Write for example pacs.hospital.example or 10.1.2.3, without port and without http://.",
                "site.yaml:15:11: destinations[1].port: 70000: is not what is asked for here. Write a whole number from 1 to 65535.",
                "site.yaml:16:22: destinations[1].called_ae_title: ARCHIVE_OF_THE_WHOLE_HOSPITAL: is 29 characters long, and an AE title has at most 16. Shorten it, here and at the peer.",
            ],
            file.Problems.Select(problem => problem.ToString()));
    }

    [Theory]
    [InlineData(@"'^(?<patientid>[0-9]+)$'", "names a group that is not known, 'patientid'. Did you mean (?<patient_id>...)?")]
    [InlineData(@"'^(?<issuer>[0-9]+)$'", "names neither a patient nor an order.")]
    [InlineData(@"'^[0-9]+$'", "names neither a patient nor an order.")]
    [InlineData(@"'(?<patient_id>[0-9]*)'", "fits the empty text, and so any text.")]
    [InlineData(@"'(?<patient_id>[0-9]+'", "is no regular expression (InsufficientClosingParentheses at position 21).")]
    [InlineData(@"'(?=x)(?<patient_id>[0-9]+)'", "uses look-around, a back-reference or another part that can run for ever.")]
    public void A_pattern_that_cannot_name_a_patient_is_refused(string expression, string words)
    {
        ConfigurationFile file = ConfigurationFile.Parse(Least + "labels:\n  patterns:\n    - name: band\n      expression: " + expression, "c");
        ConfigurationProblem problem = Assert.Single(file.Problems);
        Assert.Equal((11, 19), (problem.Line, problem.Column));
        Assert.Contains(words, problem.ToString(), StringComparison.Ordinal);
    }

    [Fact]
    public void One_worklist_may_stand_without_a_list_and_is_called_by_its_title()
    {
        WorklistConfiguration worklist = Assert.Single(Accept(Least + "worklist: { host: a, port: 1, called_ae_title: WL, days_around: 3 }").Worklists);

        Assert.Equal((WorklistKind.Dimse, "WL", 3), (worklist.Kind, worklist.Name, worklist.DaysAround));
        Assert.Null(worklist.Web);
    }

    [Fact]
    public void Several_worklists_stand_in_a_list_each_with_its_kind()
    {
        IReadOnlyList<WorklistConfiguration> worklists = Accept(Least + """
            worklist:
              - { host: a, port: 1, called_ae_title: WL }
              - { name: ris, host: b, port: 1, called_ae_title: WL }
              - { name: web, kind: mwl-rs, url: 'https://a.example/dicom-web', token_file: /etc/token, proxy: 'http://proxy.example:3128' }
              - { name: ups, kind: ups-rs, url: 'https://b.example/rs' }
            """).Worklists;

        Assert.Equal([("WL", WorklistKind.Dimse), ("ris", WorklistKind.Dimse), ("web", WorklistKind.MwlRs), ("ups", WorklistKind.UpsRs)], worklists.Select(one => (one.Name, one.Kind)));
        Assert.Equal("/etc/token", worklists[2].Web!.Token!.File);
        Assert.Null(worklists[3].Peer);
    }

    [Theory]
    [InlineData("{ name: web, url: 'https://a.example' }", "worklist.kind: is missing. Write what stands at url: mwl-rs (Modality Scheduled Procedure Steps) or ups-rs (Unified Procedure Steps).")]
    [InlineData("{ name: web, kind: mwl, url: 'https://a.example', host: a, port: 1, called_ae_title: A }", "worklist.kind: mwl: is no kind of worklist. Write one of dimse, mwl-rs, ups-rs.")]
    [InlineData("{ kind: mwl-rs, url: 'https://a.example' }", "worklist.name: is missing. Give the worklist a short name; messages use it.")]
    [InlineData("{ name: web, kind: mwl-rs }", "worklist.url: is missing. Write where its DICOMweb services begin")]
    [InlineData("{ name: web, kind: mwl-rs, url: 'http://a.example', token_file: /t }", "worklist.url: http://a.example/: would carry a secret over a network without TLS.")]
    [InlineData("{ name: web, kind: ups-rs, url: 'https://a.example', require_modality: yes }", "worklist.require_modality: yes: is for worklists of modalities; Unified Procedure Steps tell none. Leave it out.")]
    [InlineData("[{ name: a, kind: ups-rs, url: 'https://a.example' }, { host: a, port: 1, called_ae_title: A }]", "worklist[2].called_ae_title: A: is how another worklist is called, too. Give each its own name, by name.")]
    [InlineData("[{ name: a, kind: ups-rs, url: 'https://a.example' }, { name: A, host: a, port: 1, called_ae_title: B }]", "worklist[2].name: A: is how another worklist is called, too. Give each its own name, by name.")]
    [InlineData("{ name: web, kind: mwl-rs, url: 'https://a.example', form: metadata }", "worklist.form: metadata: is no setting here.")]
    public void A_mistake_in_a_worklist_is_told_with_its_fix(string worklist, string problem) =>
        Assert.Contains(Refuse(Least + "worklist: " + worklist), told => told.StartsWith("c:8:", StringComparison.Ordinal) && told.Contains(": " + problem, StringComparison.Ordinal));

    [Fact]
    public void A_pattern_tells_check_digits_GS1_identifiers_and_rare_codes()
    {
        IReadOnlyList<IdentityPattern> patterns = Accept(Least + """
            labels:
              patterns:
                - name: band
                  gs1: { patient_id: '8018', accession_number: 8020 }
                  issuer: GSRN
                  also_in: aztec
                - name: sheet
                  expression: 'ID=(?<patient_id>[0-9]{10})'
                  check_digits: { patient_id: nhs-number }
                  also_in: [pdf417, aztec]
            """).Labels.Patterns;

        Assert.Null(patterns[0].Expression);
        Assert.Equal([("patient_id", "8018"), ("accession_number", "8020")], patterns[0].Elements.Select(one => (one.Key, one.Value)));
        Assert.Equal([("patient_id", "nhs-number")], patterns[1].CheckDigits.Select(one => (one.Key, one.Value.Name)));
        Assert.Equal([RareCode.Pdf417, RareCode.Aztec], new LabelConfiguration { Patterns = patterns }.RareCodes);
    }

    [Theory]
    [InlineData("{ name: b, gs1: { patient_id: '801' } }", "c:10:35: labels.patterns[1].gs1.patient_id: 801: is no Application Identifier of GS1. Write its two to four digits, in quotes, for example '8018'.")]
    [InlineData("{ name: b, gs1: { issuer: '8018' } }", "c:10:21: labels.patterns[1].gs1.patient_id: is missing. Write the Application Identifier that holds the patient ID, for example 8018; or accession_number with that of the order.")]
    [InlineData("{ name: b, gs1: { patient: '8018', patient_id: '8018' } }", "c:10:23: labels.patterns[1].gs1.patient: 8018: is no setting here. Did you mean patient_id?")]
    [InlineData("{ name: b, gs1: { patient_id: '8018' }, expression: x }", "c:10:57: labels.patterns[1].expression: x: stands beside gs1, which says where the ID is by itself. Leave one of the two.")]
    [InlineData("{ name: b, expression: '(?<patient_id>x)', check_digits: { patient_id: nhs } }", "c:10:76: labels.patterns[1].check_digits.patient_id: nhs: is no scheme of check digits that is known. Schemes are ")]
    [InlineData("{ name: b, expression: '(?<patient_id>x)', check_digits: { patient_id: lunh } }", "c:10:76: labels.patterns[1].check_digits.patient_id: lunh: is no scheme of check digits that is known. Did you mean luhn?")]
    [InlineData("{ name: b, expression: '(?<patient_id>x)', also_in: [maxicode] }", "c:10:58: labels.patterns[1].also_in: maxicode: is none of the choices. Write one of pdf417, aztec.")]
    [InlineData("{ name: b, expression: '(?<patient_id>x)', check_digits: { accession_number: luhn } }", "c:10:82: labels.patterns[1].check_digits.accession_number: luhn: is for a part that the pattern does not pick out. Name the part in expression or gs1, or leave the check out.")]
    public void A_mistake_in_a_pattern_is_told_at_its_place(string pattern, string problem) =>
        Assert.StartsWith(problem, Assert.Single(Refuse(Least + "labels:\n  patterns:\n  - " + pattern)), StringComparison.Ordinal);

    [Fact]
    public void Names_have_no_codes_so_their_patterns_have_no_settings_for_them() =>
        Assert.Equal(
            "sources[1].name_patterns[1].also_in",
            Assert.Single(ConfigurationFile.Parse(
                Least + "sources: [{ name: r, folder: /srv/r, name_patterns: [{ name: n, expression: '(?<patient_id>x)', also_in: aztec, check_digits: { patient_id: luhn } }] }]", "c").Problems).Key);

    [Theory]
    [InlineData("    optic: eer", "c:11:12: sources[1].optic: eer: is no optic. Did you mean ear?")]
    [InlineData("    station: { ae_title: 'A\\B' }", "c:11:26: sources[1].station.ae_title: A\\B: has a character that no AE title may have, at position 2. Use unaccented letters, digits and signs, but no backslash.")]
    [InlineData("    quiet_time: 1 s", "c:11:17: sources[1].quiet_time: 1 s: is shorter than settle_time, so a sitting would close before its last picture is taken. Make it longer.")]
    [InlineData("    device: camera", "c:11:13: sources[1].device: camera: must hold settings of its own. Write them below it, indented, as key: value.")]
    [InlineData("worklist: { host: a, port: 1, called_ae_title: W, fallback_character_set: LATIN1 }", "c:11:75: worklist.fallback_character_set: LATIN1: is no character set of DICOM. Write a defined term of (0008,0005), for example ISO_IR 100 or ISO_IR 192.")]
    public void A_value_outside_its_vocabulary_is_told_with_what_may_stand_there(string line, string problem)
    {
        // Lines 1 to 7 are the least configuration; the source takes lines 8 to 10.
        string[] problems = Refuse(Least + "sources:\n  - name: room\n    folder: /srv/room\n" + line);
        Assert.Equal([problem], problems);
    }

    [Fact]
    public void A_spool_inside_a_watched_source_is_refused_also_below_a_star()
    {
        string[] problems = Refuse("""
            spool: /media/sticks/own/spool
            state: /srv/room1/state.db
            sources:
              - name: sticks
                folder: /media/sticks/*
              - name: room1
                folder: /srv/room1
              - name: Room1
                folder: /srv/room1/sub
            destinations: [{ name: archive, host: pacs.example, port: 104, called_ae_title: ARCHIVE }]
            """);

        Assert.Equal(
            [
                "c:1:8: spool: /media/sticks/own/spool: lies inside the folder of the source sticks. The program would take its own copies for new pictures. Choose a place outside all sources.",
                "c:2:8: state: /srv/room1/state.db: lies inside the folder of the source room1. The program would write into what it must leave untouched. Choose a place outside all sources.",
                "c:8:11: sources[3].name: Room1: is the name of sources[2] too. Give each its own.",
                "c:9:13: sources[3].folder: /srv/room1/sub: is watched by sources[2] too, so every picture would be taken twice. Give each source a folder of its own.",
            ],
            problems);
    }

    [Theory]
    [InlineData("spool: [1, 2", "c:2:1:")]
    [InlineData("spool: \"\\d\"", "c:1:")]
    [InlineData("sources:\n\t- name: x", "c:2:1:")]
    [InlineData("a: 1\n---\nb: 2", "c:2:")]
    [InlineData("a: *nowhere", "c:1:4:")]
    public void Text_that_is_no_yaml_is_one_error_at_its_place(string text, string place)
    {
        string problem = Assert.Single(Refuse(text));
        Assert.StartsWith(place, problem, StringComparison.Ordinal);
        Assert.Contains("is not readable as YAML here", problem, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("")]
    [InlineData("# nothing but a comment\n")]
    public void An_empty_file_lacks_what_is_needed(string text) =>
        Assert.Equal(["spool", "state", "destinations"], ConfigurationFile.Parse(text, "c").Problems.Select(problem => problem.Key));

    [Fact]
    public void A_nesting_bomb_is_an_error_and_no_crash() =>
        Assert.Contains("nested deeper", Assert.Single(Refuse("a: " + new string('[', 200))), StringComparison.Ordinal);

    [Fact]
    public void A_missing_file_says_how_to_name_one()
    {
        ConfigurationProblem problem = Assert.Single(ConfigurationFile.Read("/nowhere/camerabridge.yaml").Problems);
        Assert.Equal(
            "/nowhere/camerabridge.yaml: there is no such file. Name one with --config FILE or CAMERABRIDGE_CONFIG; deploy/camerabridge.example.yaml is a start.",
            problem.ToString());
    }

    [Fact]
    public void Each_setting_in_force_tells_its_line_or_that_it_is_the_default()
    {
        ConfigurationFile file = ConfigurationFile.Parse(Least, "c");
        Assert.Contains(new EffectiveSetting("destinations[1].port", "104", 6), file.Settings);
        Assert.Contains(new EffectiveSetting("destinations[1].first_retry_delay", "5 s", null), file.Settings);
        Assert.Contains(new EffectiveSetting("time_zone", "UTC", null), file.Settings);
    }

    [Fact]
    public void The_example_configuration_is_valid_and_names_every_kind_of_part()
    {
        ConfigurationFile file = ConfigurationFile.Read(Path.Combine(Repository.Root, "deploy", "camerabridge.example.yaml"));
        Assert.Empty(file.Problems);
        Assert.Equal(2, file.Site!.Sources.Count);
        Assert.Equal(SourceKind.Stick, file.Site.Sources[1].Kind);
        Assert.Equal("Europe/London", file.Site.TimeZone.Id);
        Assert.Equal("HOLLINVALE", file.Site.Labels.Patterns[0].Issuer);
        Assert.Equal([("RIS", WorklistKind.Dimse), ("DAYCLINIC", WorklistKind.MwlRs)], file.Site.Worklists.Select(worklist => (worklist.Name, worklist.Kind)));
    }

    private static SiteConfiguration Accept(string text)
    {
        ConfigurationFile file = ConfigurationFile.Parse(text, "c");
        Assert.Empty(file.Problems);
        return file.Site!;
    }

    private static string[] Refuse(string text)
    {
        ConfigurationFile file = ConfigurationFile.Parse(text, "c");
        Assert.Null(file.Site);
        return [.. file.Problems.Select(problem => problem.ToString())];
    }
}
