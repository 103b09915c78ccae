using CameraBridge.Dicom.Iods;
using Xunit;

namespace CameraBridge.Tests.Dicom.Iods;

/// <summary>
/// Codes that the objects use, as the context groups of PS3.16 have them: value, scheme and meaning. Editions 2024c (groups) and 2026a (Annex L), seen in
/// machine-readable copies of pydicom and highdicom; CID 4062 to 4064 as an open profile for dental photographs quotes them.
/// </summary>
public sealed class StandardCodesTests
{
    [Theory]
    [InlineData(244, "24028007", "SCT", "Right")]
    [InlineData(244, "7771000", "SCT", "Left")]
    [InlineData(244, "51440002", "SCT", "Bilateral")]
    [InlineData(244, "66459002", "SCT", "Unilateral")]
    [InlineData(4, "117590005", "SCT", "Ear")]
    [InlineData(4040, "84301002", "SCT", "External auditory canal")]
    [InlineData(4040, "54066008", "SCT", "Pharynx")]
    [InlineData(4028, "38199008", "SCT", "Tooth")]
    [InlineData(4016, "28035005", "SCT", "Teeth, gums and supporting structures")]
    [InlineData(4029, "39937001", "SCT", "Skin")]
    [InlineData(4029, "73897004", "SCT", "Skin of face")]
    [InlineData(4209, "5665001", "SCT", "Retina")]
    [InlineData(4209, "28726007", "SCT", "Cornea")]
    [InlineData(4209, "81016008", "SCT", "Optic nerve head")]
    [InlineData(4202, "409898007", "SCT", "Fundus Camera")]
    [InlineData(4202, "409900009", "SCT", "Direct Ophthalmoscope")]
    [InlineData(4202, "397247004", "SCT", "Slit Lamp Biomicroscope")]
    [InlineData(4202, "409903006", "SCT", "External Camera")]
    [InlineData(4203, "111625", "DCM", "Diffuse direct illumination")]
    [InlineData(4207, "111900", "DCM", "Macula centered")]
    [InlineData(4207, "111901", "DCM", "Disc centered")]
    [InlineData(4201, "408744005", "SCT", "Primary gaze")]
    [InlineData(4063, "260499007", "SCT", "Occlusal")]
    [InlineData(4064, "789135000", "SCT", "")]
    [InlineData(4065, "789131009", "SCT", "")]
    [InlineData(4065, "787610003", "SCT", "")]
    public void Context_groups_have_the_codes_of_PS3_16(int group, string value, string scheme, string meaning)
    {
        GroupCode code = Assert.Single(ContextGroups.Find(group)!.Codes, code => code.Value == value && code.Scheme == scheme);

        // The dental profile paraphrases meanings, so those are not held against it.
        if (meaning.Length > 0)
        {
            Assert.Equal(meaning, code.Meaning, ignoreCase: true);
        }
    }

    [Theory]
    [InlineData("117590005", "EAR", true)]
    [InlineData("84301002", "EAC", true)]
    [InlineData("81745001", "EYE", true)]
    [InlineData("85562004", "HAND", true)]
    [InlineData("56459004", "FOOT", true)]
    [InlineData("45206002", "NOSE", false)]
    [InlineData("89545001", "FACE", false)]
    public void Body_parts_have_the_terms_and_sides_of_PS3_16_Annex_L(string code, string term, bool isPaired)
    {
        BodyPart part = BodyParts.ByCode(code)!;

        Assert.Equal(term, part.Term);
        Assert.Equal(isPaired, part.IsPaired);
    }
}
