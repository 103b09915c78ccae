using CameraBridge.Diagnostics;
using Xunit;

namespace CameraBridge.Tests.Diagnostics;

public sealed class UnforeseenErrorTests
{
    [Fact]
    public void Kinds_and_stack_are_told_and_no_message()
    {
        string told = UnforeseenError.Describe(Thrown());

        Assert.Contains("System.InvalidOperationException", told, StringComparison.Ordinal);
        Assert.Contains("caused by System.FormatException", told, StringComparison.Ordinal);
        Assert.Contains(nameof(Thrown), told, StringComparison.Ordinal);
        Assert.DoesNotContain("Quillfeather", told, StringComparison.Ordinal);
    }

    private static InvalidOperationException Thrown()
    {
        try
        {
            throw new InvalidOperationException("no place for Quillfeather", new FormatException("Quillfeather^Odo"));
        }
        catch (InvalidOperationException thrown)
        {
            return thrown;
        }
    }
}
