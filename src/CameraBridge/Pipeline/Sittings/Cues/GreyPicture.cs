using ZXing;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>Luminance of a picture, 8 bits a pixel, row after row without gaps; what the code readers look at.</summary>
internal sealed class GreyPicture : LuminanceSource
{
    /// <summary>What a rotated picture shows where the original has nothing: the white of a label's margin.</summary>
    private const byte Paper = 255;

    public GreyPicture(byte[] pixels, int width, int height)
        : base(width, height) => Pixels = pixels;

    public byte[] Pixels { get; }

    /// <inheritdoc />
    public override byte[] Matrix => Pixels;

    /// <inheritdoc />
    public override bool RotateSupported => true;

    /// <inheritdoc />
    public override byte[] getRow(int y, byte[] row)
    {
        byte[] target = row is not null && row.Length >= Width ? row : new byte[Width];
        Buffer.BlockCopy(Pixels, y * Width, target, 0, Width);
        return target;
    }

    /// <inheritdoc />
    public override LuminanceSource rotateCounterClockwise()
    {
        byte[] turned = new byte[Pixels.Length];
        for (int y = 0; y < Height; y++)
        {
            for (int x = 0; x < Width; x++)
            {
                turned[((Width - 1 - x) * Height) + y] = Pixels[(y * Width) + x];
            }
        }

        return new GreyPicture(turned, Height, Width);
    }

    /// <summary>Half the size, each pixel the mean of four; an odd last row or column is dropped.</summary>
    public GreyPicture Halve()
    {
        int width = Math.Max(1, Width / 2);
        int height = Math.Max(1, Height / 2);
        byte[] half = new byte[width * height];
        for (int y = 0; y < height; y++)
        {
            ReadOnlySpan<byte> upper = Pixels.AsSpan(Math.Min(2 * y, Height - 1) * Width, Width);
            ReadOnlySpan<byte> lower = Pixels.AsSpan(Math.Min((2 * y) + 1, Height - 1) * Width, Width);
            Span<byte> row = half.AsSpan(y * width, width);
            for (int x = 0; x < row.Length; x++)
            {
                int left = 2 * x;
                int right = Math.Min(left + 1, Width - 1);
                row[x] = (byte)((upper[left] + upper[right] + lower[left] + lower[right] + 2) >> 2);
            }
        }

        return new GreyPicture(half, width, height);
    }

    /// <summary>The same picture in bytes of its own.</summary>
    public GreyPicture Copy() => new([.. Pixels], Width, Height);

    /// <summary>The part within the area, which must lie inside.</summary>
    public GreyPicture Cut(PixelArea area)
    {
        byte[] part = new byte[area.Width * area.Height];
        for (int y = 0; y < area.Height; y++)
        {
            Buffer.BlockCopy(Pixels, ((area.Y + y) * Width) + area.X, part, y * area.Width, area.Width);
        }

        return new GreyPicture(part, area.Width, area.Height);
    }

    /// <summary>The picture turned about its centre into a frame that holds all of it.</summary>
    /// <param name="degrees">Clockwise.</param>
    public GreyPicture Rotate(double degrees)
    {
        (double sin, double cos) = Math.SinCos(degrees * Math.PI / 180);
        int width = (int)Math.Ceiling((Math.Abs(Width * cos) + Math.Abs(Height * sin)) - 1e-6);
        int height = (int)Math.Ceiling((Math.Abs(Width * sin) + Math.Abs(Height * cos)) - 1e-6);
        byte[] turned = new byte[width * height];
        turned.AsSpan().Fill(Paper);

        // 16.16 fixed point; each target pixel asks where it comes from.
        int stepX = (int)Math.Round(cos * 65536);
        int stepY = (int)Math.Round(-sin * 65536);
        for (int y = 0; y < height; y++)
        {
            double fromCentreX = -(width - 1) / 2.0;
            double fromCentreY = y - ((height - 1) / 2.0);
            int sourceX = (int)Math.Round((((fromCentreX * cos) + (fromCentreY * sin)) + ((Width - 1) / 2.0)) * 65536);
            int sourceY = (int)Math.Round((((-fromCentreX * sin) + (fromCentreY * cos)) + ((Height - 1) / 2.0)) * 65536);
            Span<byte> row = turned.AsSpan(y * width, width);
            for (int x = 0; x < row.Length; x++, sourceX += stepX, sourceY += stepY)
            {
                int left = sourceX >> 16;
                int top = sourceY >> 16;
                if ((uint)left < (uint)(Width - 1) && (uint)top < (uint)(Height - 1))
                {
                    row[x] = Between(left, top, (sourceX >> 8) & 0xFF, (sourceY >> 8) & 0xFF);
                }
            }
        }

        return new GreyPicture(turned, width, height);
    }

    /// <summary>Degrees (clockwise, -45 to 45) by which a grid of edges at right angles is turned.</summary>
    public double GridAngle()
    {
        // Edges a quarter turn apart are one direction of the grid: four times their angle is the same. (dx + i dy)^4, weighed by strength.
        double real = 0;
        double imaginary = 0;
        for (int y = 1; y < Height - 1; y++)
        {
            for (int x = 1, at = (y * Width) + 1; x < Width - 1; x++, at++)
            {
                // Sobel: of the small operators the one whose angle errs least.
                int upper = at - Width;
                int lower = at + Width;
                double dx = Pixels[upper + 1] - Pixels[upper - 1] + (2 * (Pixels[at + 1] - Pixels[at - 1])) + Pixels[lower + 1] - Pixels[lower - 1];
                double dy = Pixels[lower - 1] - Pixels[upper - 1] + (2 * (Pixels[lower] - Pixels[upper])) + Pixels[lower + 1] - Pixels[upper + 1];
                double squareReal = (dx * dx) - (dy * dy);
                double squareImaginary = 2 * dx * dy;
                double strength = (dx * dx) + (dy * dy);
                if (strength > 0)
                {
                    real += ((squareReal * squareReal) - (squareImaginary * squareImaginary)) / strength;
                    imaginary += 2 * squareReal * squareImaginary / strength;
                }
            }
        }

        return Math.Atan2(imaginary, real) * 45 / Math.PI;
    }

    /// <summary>Paints a convex polygon in the white of paper, so that what stands there is not read again.</summary>
    public void Cover(ReadOnlySpan<(double X, double Y)> corners)
    {
        double top = double.MaxValue;
        double bottom = double.MinValue;
        foreach ((double _, double y) in corners)
        {
            top = Math.Min(top, y);
            bottom = Math.Max(bottom, y);
        }

        int last = (int)Math.Min(Height - 1, Math.Ceiling(bottom));
        for (int y = (int)Math.Max(0, Math.Floor(top)); y <= last; y++)
        {
            double left = double.MaxValue;
            double right = double.MinValue;
            for (int i = 0; i < corners.Length; i++)
            {
                (double ax, double ay) = corners[i];
                (double bx, double by) = corners[(i + 1) % corners.Length];
                if (Math.Min(ay, by) - 1 > y || Math.Max(ay, by) + 1 < y)
                {
                    continue;
                }

                double share = Math.Abs(by - ay) < 1e-9 ? 0 : Math.Clamp((y - ay) / (by - ay), 0, 1);
                double x = ax + (share * (bx - ax));
                left = Math.Min(left, Math.Abs(by - ay) < 1e-9 ? Math.Min(ax, bx) : x);
                right = Math.Max(right, Math.Abs(by - ay) < 1e-9 ? Math.Max(ax, bx) : x);
            }

            int from = (int)Math.Clamp(Math.Floor(left), 0, Width);
            int to = (int)Math.Clamp(Math.Ceiling(right) + 1, 0, Width);
            if (to > from)
            {
                Pixels.AsSpan((y * Width) + from, to - from).Fill(Paper);
            }
        }
    }

    private byte Between(int left, int top, int shareX, int shareY)
    {
        int at = (top * Width) + left;
        int upper = (Pixels[at] * (256 - shareX)) + (Pixels[at + 1] * shareX);
        int lower = (Pixels[at + Width] * (256 - shareX)) + (Pixels[at + Width + 1] * shareX);
        return (byte)(((upper * (256 - shareY)) + (lower * shareY)) >> 16);
    }
}

/// <summary>A rectangle of whole pixels.</summary>
internal readonly record struct PixelArea(int X, int Y, int Width, int Height)
{
    public int Right => X + Width;

    public int Bottom => Y + Height;

    /// <summary>The area enlarged on every side, and cut off at the edges of a picture.</summary>
    public PixelArea Grow(int by, int pictureWidth, int pictureHeight)
    {
        int x = Math.Max(0, X - by);
        int y = Math.Max(0, Y - by);
        return new PixelArea(x, y, Math.Min(pictureWidth, Right + by) - x, Math.Min(pictureHeight, Bottom + by) - y);
    }

    /// <summary>The same area in a picture that is larger (factor above 1) or smaller.</summary>
    public PixelArea Scale(double factor, int pictureWidth, int pictureHeight)
    {
        int x = (int)Math.Clamp(Math.Floor(X * factor), 0, pictureWidth - 1);
        int y = (int)Math.Clamp(Math.Floor(Y * factor), 0, pictureHeight - 1);
        int right = (int)Math.Clamp(Math.Ceiling(Right * factor), x + 1, pictureWidth);
        int bottom = (int)Math.Clamp(Math.Ceiling(Bottom * factor), y + 1, pictureHeight);
        return new PixelArea(x, y, right - x, bottom - y);
    }
}
