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

    /// <summary>The grey value at a point, between the pixels around it; the middle of the first pixel is (0.5, 0.5). Beyond the edge its last pixel goes on.</summary>
    public float At(double x, double y)
    {
        float px = float.ClampNative((float)x - 0.5f, 0, Width - 1.001f);
        float py = float.ClampNative((float)y - 0.5f, 0, Height - 1.001f);
        int left = (int)px;
        int top = (int)py;
        float shareX = px - left;
        float shareY = py - top;
        ReadOnlySpan<byte> here = Pixels.AsSpan((top * Width) + left, Width + 2);
        int first = here[0];
        int under = here[Width];
        float upper = first + ((here[1] - first) * shareX);
        float lower = under + ((here[Width + 1] - under) * shareX);
        return upper + ((lower - upper) * shareY);
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

    /// <summary>Whether it has pixels in common with another.</summary>
    public bool Meets(PixelArea other) => X < other.Right && other.X < Right && Y < other.Bottom && other.Y < Bottom;

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
