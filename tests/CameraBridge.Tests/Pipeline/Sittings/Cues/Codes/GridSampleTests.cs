using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Codes;

public sealed class GridSampleTests
{
    [Theory]
    [InlineData(1)]
    [InlineData(3)]
    [InlineData(9)]
    public void Known_modules_are_seen_as_they_are_when_all_are_looked_at_and_no_others_are(int version)
    {
        byte[] pixels = new byte[300 * 300];
        new Random(version).NextBytes(pixels);
        var picture = new GreyPicture(pixels, 300, 300);
        ModuleGrid known = QrPatterns.Finders(version);
        int size = known.Columns;
        Projection map = Projection.Corners(size, size, [(20, 30), (270, 40), (280, 260), (10, 250)])!;

        ModuleGrid seen = GridSample.ReadKnown(picture, map, known);

        ModuleGrid all = GridSample.Read(picture, map, size, size, byMean: false);
        Assert.All(
            Enumerable.Range(0, size * size).Select(i => (X: i % size, Y: i / size)),
            at => Assert.Equal(known[at.X, at.Y] == Module.Unknown ? Module.Unknown : all[at.X, at.Y], seen[at.X, at.Y]));
    }
}
