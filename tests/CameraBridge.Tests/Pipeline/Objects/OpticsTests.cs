using CameraBridge.Configuration;
using CameraBridge.Dicom.Iods;
using CameraBridge.Pipeline.Objects;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

/// <summary>The optics table; its codes are in CIDs 4, 4016, 4028 and 4040 and PS3.16 Annex L (edition 2025e).</summary>
public sealed class OpticsTests
{
    [Fact]
    public void Every_optic_has_a_class_with_a_table_and_a_modality_that_fits_it()
    {
        Assert.NotEmpty(Optics.Names);
        Assert.All(Optics.Names, name =>
        {
            Assert.True(Optics.TryFind(name, out Optic? optic));
            Iod? iod = IodTables.Find(optic.SOPClassUID);
            Assert.NotNull(iod);
            Assert.Equal(iod.Name == "VL Endoscopic Image" ? "ES" : "XC", optic.Modality);
        });
    }

    [Fact]
    public void The_default_optic_of_a_source_is_in_the_table() =>
        Assert.True(Optics.TryFind(new SourceConfiguration { Name = "s", Folder = "/f" }.Optic, out _));

    [Fact]
    public void An_optic_that_is_not_in_the_table_is_not_guessed() => Assert.False(Optics.TryFind("microscope", out _));
}
