namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;

/// <summary>
/// A pinhole camera before a flat card: the map between millimetres on the card, from its middle, and pixels (Hartley and Zisserman, Multiple View
/// Geometry, 2nd edition, section 8.1.1: a plane maps by K [r1 r2 t]).
/// </summary>
internal sealed class SceneCamera
{
    private readonly double[] _map;
    private readonly double[] _back;

    /// <param name="focal">Pixels.</param>
    /// <param name="middle">Where the optical axis meets the picture.</param>
    /// <param name="distance">Millimetres to the card's middle, along the optical axis.</param>
    /// <param name="tilt">Degrees between the card's normal and the optical axis.</param>
    /// <param name="towards">Degrees: the direction in the picture in which the card recedes.</param>
    /// <param name="roll">Degrees, clockwise, in the card's plane.</param>
    /// <param name="at">Where the card's middle is to lie in the picture.</param>
    public SceneCamera(double focal, (double X, double Y) middle, double distance, double tilt, double towards, double roll, (double X, double Y) at)
    {
        (double sinRoll, double cosRoll) = Math.SinCos(roll * Math.PI / 180);
        (double sinTilt, double cosTilt) = Math.SinCos(tilt * Math.PI / 180);
        (double sinTo, double cosTo) = Math.SinCos(towards * Math.PI / 180);

        // The axis of tilt lies in the card; a vector across it is shortened and gains depth.
        (double X, double Y, double Z) Turn(double x, double y)
        {
            (double rolledX, double rolledY) = ((x * cosRoll) - (y * sinRoll), (x * sinRoll) + (y * cosRoll));
            double across = (rolledX * cosTo) + (rolledY * sinTo);
            double along = (rolledY * cosTo) - (rolledX * sinTo);
            double shortened = across * cosTilt;
            return ((shortened * cosTo) - (along * sinTo), (shortened * sinTo) + (along * cosTo), across * sinTilt);
        }

        (double X, double Y, double Z) first = Turn(1, 0);
        (double X, double Y, double Z) second = Turn(0, 1);
        double moveX = (at.X - middle.X) * distance / focal;
        double moveY = (at.Y - middle.Y) * distance / focal;
        _map =
        [
            (focal * first.X) + (middle.X * first.Z), (focal * second.X) + (middle.X * second.Z), (focal * moveX) + (middle.X * distance),
            (focal * first.Y) + (middle.Y * first.Z), (focal * second.Y) + (middle.Y * second.Z), (focal * moveY) + (middle.Y * distance),
            first.Z, second.Z, distance,
        ];
        _back = Invert(_map);
        Spacing = distance / focal;
    }

    /// <summary>Millimetres a pixel at the card's middle, in the plane there that faces the camera.</summary>
    public double Spacing { get; }

    /// <summary>Pixels of a point of the card.</summary>
    public (double X, double Y) Project(double x, double y) => Apply(_map, x, y);

    /// <summary>The point of the card that a pixel shows.</summary>
    public (double X, double Y) Unproject(double x, double y) => Apply(_back, x, y);

    private static (double X, double Y) Apply(double[] m, double x, double y)
    {
        double w = (m[6] * x) + (m[7] * y) + m[8];
        return (((m[0] * x) + (m[1] * y) + m[2]) / w, ((m[3] * x) + (m[4] * y) + m[5]) / w);
    }

    /// <summary>The adjugate, which is the inverse but for a factor.</summary>
    private static double[] Invert(double[] m) =>
    [
        (m[4] * m[8]) - (m[5] * m[7]), (m[2] * m[7]) - (m[1] * m[8]), (m[1] * m[5]) - (m[2] * m[4]),
        (m[5] * m[6]) - (m[3] * m[8]), (m[0] * m[8]) - (m[2] * m[6]), (m[2] * m[3]) - (m[0] * m[5]),
        (m[3] * m[7]) - (m[4] * m[6]), (m[1] * m[6]) - (m[0] * m[7]), (m[0] * m[4]) - (m[1] * m[3]),
    ];
}
