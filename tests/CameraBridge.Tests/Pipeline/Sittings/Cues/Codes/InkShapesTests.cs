using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Codes;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Codes;

public sealed class InkShapesTests
{
    private const int Side = 120;

    [Theory]
    [InlineData(1)]
    [InlineData(2)]
    [InlineData(3)]
    [InlineData(4)]
    public void The_hull_of_a_piece_of_ink_is_convex_turns_one_way_and_holds_all_of_it_tightly(int seed)
    {
        InkPicture ink = Blot(seed);

        (int X, int Y)[] hull = Assert.Single(new InkShapes().Find(ink, 20));

        var corners = new HashSet<(int X, int Y)>();
        for (int y = 0; y < Side; y++)
        {
            for (int x = 0; x < Side; x++)
            {
                if (ink[x, y])
                {
                    corners.UnionWith([(x, y), (x + 1, y), (x, y + 1), (x + 1, y + 1)]);
                }
            }
        }

        Assert.All(hull, corner => Assert.Contains(corner, corners));
        for (int i = 0; i < hull.Length; i++)
        {
            (int X, int Y) from = hull[i];
            (int X, int Y) to = hull[(i + 1) % hull.Length];
            Assert.True(Cross(from, to, hull[(i + 2) % hull.Length]) > 0);
            Assert.All(corners, corner => Assert.True(Cross(from, to, corner) >= 0));
        }
    }

    [Fact]
    public void Pieces_that_touch_at_corners_only_are_two()
    {
        bool[] ink = new bool[Side * Side];
        Ring(ink, 5, 5, 40);
        Ring(ink, 45, 45, 40);

        Assert.Equal(2, new InkShapes().Find(Picture(ink), 20).Count);
    }

    /// <summary>Strokes from the middle: one piece with bays.</summary>
    private static InkPicture Blot(int seed)
    {
        var random = new Random(seed);
        bool[] ink = new bool[Side * Side];
        for (int stroke = 0; stroke < 9; stroke++)
        {
            double angle = random.NextDouble() * Math.Tau;
            double length = 15 + (random.NextDouble() * 35);
            for (double at = 0; at < length; at += 0.3)
            {
                int x = (int)(60 + (at * Math.Cos(angle)));
                int y = (int)(60 + (at * Math.Sin(angle)));
                (ink[(y * Side) + x], ink[(y * Side) + x + 1], ink[((y + 1) * Side) + x]) = (true, true, true);
            }
        }

        return Picture(ink);
    }

    private static void Ring(bool[] ink, int left, int top, int side)
    {
        for (int i = 0; i < side; i++)
        {
            (ink[(top * Side) + left + i], ink[((top + side - 1) * Side) + left + i]) = (true, true);
            (ink[((top + i) * Side) + left], ink[((top + i) * Side) + left + side - 1]) = (true, true);
        }
    }

    private static InkPicture Picture(bool[] ink) => InkPictureTests.Whole(new GreyPicture([.. ink.Select(dark => dark ? (byte)0 : (byte)255)], Side, Side), Side);

    private static long Cross((int X, int Y) a, (int X, int Y) b, (int X, int Y) c) => ((long)(b.X - a.X) * (c.Y - a.Y)) - ((long)(b.Y - a.Y) * (c.X - a.X));
}
