using CameraBridge.Configuration;
using CameraBridge.Pipeline.Objects.Optics;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects.Optics;

/// <summary>Optics of a site: every mistake with its line and column, counted by hand; what is not said is as in the optic it is like.</summary>
public sealed class OpticReaderTests
{
    /// <summary>Eight lines.</summary>
    private const string Least = """
        spool: /var/lib/cb/spool
        state: /var/lib/cb/state.db
        destinations:
          - name: archive
            host: pacs.example
            port: 104
            called_ae_title: ARCHIVE
        optics:

        """;

    [Fact]
    public void A_new_optic_needs_no_code()
    {
        Optic optic = Accept("""
              - name: proctoscope
                title: Proctoscopy
                still: endoscopic
                clip: endoscopic
                body_sites: [4, 4040]
                body_site: Rectum
                needs: [view]
                view: frontal
            """, "proctoscope");

        Assert.Equal(("ES", "ES", "Proctoscopy"), (optic.Still.Modality, optic.Clip.Modality, optic.Title));
        // PS3.16 CID 4040.
        Assert.Equal(new Code("34402009", "SCT", "Rectum"), optic.Always.Values.CodeOf(ValueKeys.BodySite));
        Assert.Equal(["view"], optic.Needs);
    }

    [Fact]
    public void An_optic_like_another_has_what_it_does_not_say_itself()
    {
        Optic optic = Accept("""
              - name: dermatoscope-2
                like: skin-contact
                magnification: 60
                immersion: [gel, alcohol]
                needs: [manufacturer]
                contact: none
                with: [polarised]
                devices:
                  - kind: 99|99SITE|Colour card
                    description: Card 7
                options:
                  - name: oil
                    immersion: oil
                    colour_temperature: 5500
            """, "dermatoscope-2");

        Assert.Equal(("dermoscopic", "photographic"), (optic.Still.Word, optic.Clip.Word));
        OpticPart part = optic.PartWith(optic.With);
        Assert.Equal(("60", "POLARIZED", "39937001"), (part.Values.One(ValueKeys.Magnification), part.Values.One(ValueKeys.Polarisation), part.Values.CodeOf(ValueKeys.BodySite)?.Value));
        Assert.Equal(["ULTRASOUND_GEL", "ALCOHOL"], part.Values.All(ValueKeys.Immersion));
        Assert.False(part.Values.Has(ValueKeys.Contact));
        Assert.Equal("Card 7", Assert.Single(part.Devices).Description);
        Assert.Equal("5500", optic.PartWith(["oil"]).Values.One(ValueKeys.ColourTemperature));
        Assert.NotNull(optic.FindOption("gel"));
    }

    [Fact]
    public void An_entry_with_a_known_name_changes_that_optic()
    {
        Optic optic = Accept("""
              - name: ear
                with: speculum
                needs: [side]
            """, "ear");

        Assert.Equal(["side"], optic.Needs);
        Assert.Equal("Disposable ear speculum", Assert.Single(optic.PartWith(optic.With).Context).Text);
        Assert.Equal("84301002", optic.Always.Values.CodeOf(ValueKeys.BodySite)?.Value);
        Assert.Empty(OpticsTable.Own.TryFind("ear", out Optic? own) ? own.Needs : ["?"]);
    }

    [Fact]
    public void The_configuration_shows_what_is_in_force_and_where_it_stands()
    {
        ConfigurationFile file = ConfigurationFile.Parse(Least + """
              - name: retina-2
                like: retina
                lens_power: -3
            """, "c");

        Assert.Contains(new EffectiveSetting("optics[1].lens_power", "-3", 11), file.Settings);
        Assert.Contains(new EffectiveSetting("optics[1].body_site", "5665001|SCT|Retina", null), file.Settings);
        Assert.Contains(new EffectiveSetting("optics[1].needs", "side", null), file.Settings);
        Assert.DoesNotContain(file.Settings, setting => setting.Key == "optics[1].immersion");
    }

    [Fact]
    public void A_source_may_name_an_optic_of_the_site()
    {
        ConfigurationFile file = ConfigurationFile.Parse(Least + """
              - name: retina-2
                like: retina
            sources:
              - name: eyes
                folder: /srv/eyes
                optic: retina-2
            """, "c");

        Assert.Empty(file.Problems);
        Assert.Equal("retina-2", Assert.Single(file.Site!.Sources).Optic);
    }

    [Theory]
    [InlineData("  - name: x", "c:9:5: optics[1].still: is missing. Write one of endoscopic, photographic, dermoscopic, ophthalmic, or name an optic that this one is like.")]
    [InlineData("  - name: x\n    like: eer", "c:10:11: optics[1].like: eer: is not in the optics table, nor an optic above. Did you mean ear?")]
    [InlineData("  - name: x\n    like: ear\n    still: video", "c:11:12: optics[1].still: video: is no class that objects are made of. Write one of endoscopic, photographic, dermoscopic, ophthalmic.")]
    [InlineData("  - name: x\n    like: ear\n    body_site: Tongu", "c:11:16: optics[1].body_site: Tongu: is no code of CID 4 or 4016 or 4028 or 4029 or 4031 or 4040 or 4209. Did you mean Tongue?")]
    [InlineData("  - name: x\n    like: ear\n    body_site: Retina", "c:11:16: optics[1].body_site: 5665001|SCT|Retina: is of a context group that this optic's body sites do not come from. Choose one of CID 4, 4028, 4040, or change body_sites.")]
    [InlineData("  - name: x\n    like: ear\n    body_sites: [4, 9]", "c:11:21: optics[1].body_sites: 9: is no context group of body sites that the program has. Write one or more of 4, 4016, 4028, 4029, 4031, 4040, 4209.")]
    [InlineData("  - name: x\n    like: retina\n    lens_power: -36", "c:11:17: optics[1].lens_power: -36: is no lens of this optic. Its lenses go from -35 to 20 dioptres.")]
    [InlineData("  - name: x\n    like: retina\n    lens_power: 20.5", "c:11:17: optics[1].lens_power: 20.5: is no lens of this optic. Its lenses go from -35 to 20 dioptres.")]
    [InlineData("  - name: x\n    like: skin-contact\n    immersion: honey", "c:11:16: optics[1].immersion: honey: is none of the choices. Write one of gel, alcohol, water, oil, cap, dry.")]
    [InlineData("  - name: x\n    like: ear\n    magnification: 45", "c:11:20: optics[1].magnification: 45: has no place in the objects of optics[1] (magnification). Remove it, or choose another class under still.")]
    [InlineData("  - name: x\n    like: ear\n    needs: [sides]", "c:11:13: optics[1].needs: sides: is nothing that can be known of a picture. Did you mean side?")]
    [InlineData("  - name: x\n    like: ear\n    with: [specul]", "c:11:11: optics[1].with: specul: names an option that the optic does not have, 'specul'. Options are speculum, pneumatic-test.")]
    [InlineData("  - name: x\n    like: ear\n    tooth: 99", "c:11:12: optics[1].tooth: 99: is no designation of a tooth. Write it as ISO 3950 does: 11 to 48, or 51 to 85 for a milk tooth.")]
    [InlineData("  - name: x\n    like: ear\n    bodysite: 1", "c:11:5: optics[1].bodysite: 1: is no setting here. Did you mean body_site?")]
    [InlineData("  - name: x\n    like: ear\n    devices:\n      - kind: scope", "c:12:15: optics[1].devices[1].kind: scope: is no code. Write it as 'value|scheme|meaning', for example '37270008|SCT|Endoscope'.")]
    [InlineData("  - name: ear\n  - name: ear", "c:10:11: optics[2].name: ear: is the name of optics[1] too. Give each its own.")]
    [InlineData("  - name: x\n    like: retina\n    eye_device: none", "c:9:11: optics[1].name: x: needs eye_device, which every ophthalmic object must name. Write a code of CID 4202.")]
    public void A_mistake_is_told_with_its_place_and_the_fix(string entry, string problem) =>
        Assert.Equal([problem], ConfigurationFile.Parse(Least + entry, "c").Problems.Select(one => one.ToString()).Take(1));

    [Fact]
    public void What_a_camera_must_be_named_for_is_hinted_at_beforehand()
    {
        SiteConfiguration site = ConfigurationFile.Parse(Least.Replace("optics:", "", StringComparison.Ordinal) + """
            sources:
              - name: skin
                folder: /srv/skin
                optic: skin-contact
                device:
                  manufacturer: Invented Optics
                  serial_number: A1
            """, "c").Site!;

        OpticHint hint = Assert.Single(OpticHint.Of(site));
        Assert.Equal("skin", hint.Source);
        Assert.Contains("device.model, device.software", hint.Words, StringComparison.Ordinal);
    }

    private static Optic Accept(string optics, string name)
    {
        ConfigurationFile file = ConfigurationFile.Parse(Least + optics, "c");
        Assert.Empty(file.Problems);
        return file.Site!.Optics.TryFind(name, out Optic? optic) ? optic : throw new InvalidOperationException("the optic is not there");
    }
}
