using CameraBridge.Pipeline.Sittings.Cues.Codes;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Codes;

public sealed class ProjectionTests
{
    private static readonly (double X, double Y)[] Corners = [(100, 80), (420, 120), (390, 400), (90, 350)];

    [Fact]
    public void Four_corners_make_a_map_that_takes_them_back()
    {
        Projection map = Projection.Corners(25, 21, Corners)!;

        AssertNear(Corners[0], map.Apply(0, 0));
        AssertNear(Corners[1], map.Apply(25, 0));
        AssertNear(Corners[2], map.Apply(25, 21));
        AssertNear(Corners[3], map.Apply(0, 21));
    }

    [Fact]
    public void Corners_on_a_line_make_no_map() =>
        Assert.Null(Projection.Corners(10, 10, [(0, 0), (10, 0), (20, 0), (30, 0)]));

    [Fact]
    public void Three_points_make_an_affine_map()
    {
        Projection map = Projection.Affine(25, [(3.5, 3.5), (21.5, 3.5), (3.5, 21.5)], [(10, 20), (100, 30), (5, 110)]);

        AssertNear((10, 20), map.Apply(3.5, 3.5));
        AssertNear((95, 120), map.Apply(21.5, 21.5));
    }

    [Fact]
    public void The_derivative_is_the_limit_of_small_steps()
    {
        Projection map = Projection.Corners(25, 25, Corners)!;
        const double Step = 1e-5;
        (double X, double Y) at = map.Apply(7, 15);
        (double X, double Y) right = map.Apply(7 + Step, 15);
        (double X, double Y) below = map.Apply(7, 15 + Step);

        (double xx, double yx, double xy, double yy) = map.Derivative(7, 15);

        AssertNear(((right.X - at.X) / Step, (right.Y - at.Y) / Step), (xx, yx), 1e-3);
        AssertNear(((below.X - at.X) / Step, (below.Y - at.Y) / Step), (xy, yy), 1e-3);
    }

    [Fact]
    public void A_row_of_the_normal_equations_says_how_a_point_moves()
    {
        Projection map = Projection.Corners(25, 25, Corners)!;
        (double X, double Y) at = map.Apply(20, 4);
        for (int entry = 0; entry < 8; entry++)
        {
            double[] step = new double[8];
            step[entry] = 1e-6;
            double[] row = new double[8];
            map.Row(20, 4, 0.6, 0.8, row);
            (double X, double Y) moved = map.Plus(step).Apply(20, 4);

            Assert.Equal((((moved.X - at.X) * 0.6) + ((moved.Y - at.Y) * 0.8)) / 1e-6, row[entry], Math.Max(1e-3, Math.Abs(row[entry]) * 1e-3));
        }
    }

    [Fact]
    public void A_map_into_a_larger_picture_or_a_part_of_one_is_scaled_and_moved()
    {
        Projection map = Projection.Corners(25, 25, Corners)!;

        AssertNear((840 + 7, 240 - 3), map.Scale(2).Move(7, -3).Apply(25, 0));
        AssertNear((780 + 7, 800 - 3), map.Scale(2).Move(7, -3).Apply(25, 25));
    }

    private static void AssertNear((double X, double Y) expected, (double X, double Y) actual, double within = 1e-6)
    {
        Assert.Equal(expected.X, actual.X, within);
        Assert.Equal(expected.Y, actual.Y, within);
    }
}
