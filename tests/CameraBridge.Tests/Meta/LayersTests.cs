using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Meta;

/// <summary>The layer rule of the design: the DICOM library stands on the framework alone.</summary>
public sealed class LayersTests
{
    [Fact]
    public void The_dicom_library_references_nothing_but_the_framework()
    {
        string[] foreign = [.. typeof(Tag).Assembly.GetReferencedAssemblies()
            .Select(reference => reference.Name ?? "")
            .Where(name => !name.StartsWith("System.", StringComparison.Ordinal) && name is not ("System" or "netstandard" or "mscorlib"))];

        Assert.Empty(foreign);
    }

    [Fact]
    public void The_dicom_library_knows_no_web_framework()
    {
        Assert.DoesNotContain(
            typeof(Tag).Assembly.GetReferencedAssemblies(),
            reference => reference.Name!.StartsWith("Microsoft.", StringComparison.Ordinal));
    }
}
