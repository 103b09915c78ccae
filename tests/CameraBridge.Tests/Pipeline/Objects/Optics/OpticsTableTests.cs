using CameraBridge.Configuration;
using CameraBridge.Dicom.Iods;
using CameraBridge.Pipeline.Objects.Optics;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects.Optics;

/// <summary>The optics that the program comes with; codes are those of PS3.16 (edition 2024c; views 2025a).</summary>
public sealed class OpticsTableTests
{
    [Fact]
    public void Every_optic_has_classes_with_tables_and_the_modality_that_goes_with_them()
    {
        Assert.Equal(21, OpticsTable.Own.Names.Count());
        Assert.All(OpticsTable.Own.All.SelectMany(optic => new[] { optic.Still, optic.Clip }), one =>
        {
            // Modality by class: ES of A.32.1 and A.32.5, XC of A.32.4 and A.32.7 and DMS of A.32.11 (facts of PS3.3 and dicom3tools), OP of C.8.17.1.
            string expected = IodTables.Find(one.SOPClassUID)!.Name switch
            {
                "VL Endoscopic Image" or "Video Endoscopic Image" => "ES",
                "VL Photographic Image" or "Video Photographic Image" => "XC",
                "Dermoscopic Photography Image" => "DMS",
                "Ophthalmic Photography 8 Bit Image" => "OP",
                var other => other,
            };
            Assert.Equal(expected, one.Modality);
        });
    }

    [Theory]
    [InlineData("ear")]
    [InlineData("outer-ear")]
    [InlineData("nose")]
    [InlineData("throat")]
    [InlineData("endoscope")]
    [InlineData("general")]
    [InlineData("face")]
    [InlineData("mouth")]
    [InlineData("teeth")]
    [InlineData("hand")]
    [InlineData("foot")]
    public void Names_that_configurations_have_used_stay(string name) => Assert.True(OpticsTable.Own.TryFind(name, out _));

    [Fact]
    public void The_default_optic_of_a_source_is_in_the_table() =>
        Assert.True(OpticsTable.Own.TryFind(new SourceConfiguration { Name = "s", Folder = "/f" }.Optic, out _));

    [Fact]
    public void An_optic_that_is_not_in_the_table_is_not_guessed() => Assert.False(OpticsTable.Own.TryFind("microscope", out _));

    [Fact]
    public void Teeth_have_the_codes_of_their_designation()
    {
        // ISO 3950: quadrants 1 to 4 of eight permanent teeth, 5 to 8 of five deciduous ones. PS3.16 CID 4018 and 4019, read by hand.
        Assert.Equal(52, Teeth.Designations.Count());
        Assert.Equal("Permanent maxillary right central incisor tooth", Teeth.CodeOf("11").Meaning);
        Assert.Equal("Permanent maxillary left canine tooth", Teeth.CodeOf("23").Meaning);
        Assert.Equal("Mandibular left first molar tooth", Teeth.CodeOf("36").Meaning);
        Assert.Equal("Mandibular right third molar tooth", Teeth.CodeOf("48").Meaning);
        Assert.Equal("Deciduous maxillary right second molar tooth", Teeth.CodeOf("55").Meaning);
        Assert.Equal("Deciduous mandibular left central incisor tooth", Teeth.CodeOf("71").Meaning);
        Assert.Equal("46", Teeth.DesignationOf("SCT", "866005003"));
        Assert.NotNull(Teeth.Read("19", out _));
        Assert.Equal(52, Teeth.Designations.Select(Teeth.CodeOf).Distinct().Count());
    }
}
