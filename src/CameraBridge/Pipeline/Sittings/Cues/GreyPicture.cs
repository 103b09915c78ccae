using System.Runtime.CompilerServices;
using System.Runtime.InteropServices;
using System.Runtime.Intrinsics;
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

        // The span is as long as the last of the four that are read of it needs.
        ref byte here = ref MemoryMarshal.GetReference(Pixels.AsSpan((top * Width) + left, Width + 2));
        int first = here;
        int under = Unsafe.Add(ref here, Width);
        float upper = first + ((Unsafe.Add(ref here, 1) - first) * shareX);
        float lower = under + ((Unsafe.Add(ref here, Width + 1) - under) * shareX);
        return upper + ((lower - upper) * shareY);
    }

    /// <summary>Adds the grey values at points along a line, as <see cref="At"/> gives them but for a ten thousandth of a pixel, to sums.</summary>
    /// <param name="x">The first point.</param>
    /// <param name="y">The first point.</param>
    /// <param name="stepX">From each point to the next.</param>
    /// <param name="stepY">From each point to the next.</param>
    /// <param name="sums">One for each point.</param>
    /// <exception cref="InvalidOperationException">The picture is less than two pixels wide or high.</exception>
    public void AddAlong(double x, double y, double stepX, double stepY, Span<float> sums)
    {
        if (Width < 2 || Height < 2)
        {
            throw new InvalidOperationException("Between pixels there is nothing in a picture of one row or column.");
        }

        Vector256<float> firstX = Vector256.Create((float)x - 0.5f) + (Vector256<float>.Indices * (float)stepX);
        Vector256<float> firstY = Vector256.Create((float)y - 0.5f) + (Vector256<float>.Indices * (float)stepY);
        Span<float> last = stackalloc float[Vector256<float>.Count];
        for (int i = 0; i < sums.Length; i += Vector256<float>.Count)
        {
            Vector256<float> values = Eight(firstX + Vector256.Create((float)(i * stepX)), firstY + Vector256.Create((float)(i * stepY)));
            if (i <= sums.Length - Vector256<float>.Count)
            {
                (Vector256.Create<float>(sums[i..]) + values).CopyTo(sums[i..]);
                continue;
            }

            values.CopyTo(last);
            for (int at = i; at < sums.Length; at++)
            {
                sums[at] += last[at - i];
            }
        }
    }

    /// <summary>A pixel, the one beside it, and the two below them.</summary>
    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private uint Four(int place)
    {
        ref byte here = ref Unsafe.Add(ref MemoryMarshal.GetArrayDataReference(Pixels), place);
        return Unsafe.ReadUnaligned<ushort>(ref here) | ((uint)Unsafe.ReadUnaligned<ushort>(ref Unsafe.Add(ref here, Width)) << 16);
    }

    [MethodImpl(MethodImplOptions.AggressiveInlining)]
    private Vector256<float> Eight(Vector256<float> x, Vector256<float> y)
    {
        Vector256<float> clampedX = Vector256.ClampNative(x, Vector256<float>.Zero, Vector256.Create(Width - 1f));
        Vector256<float> clampedY = Vector256.ClampNative(y, Vector256<float>.Zero, Vector256.Create(Height - 1f));

        // Within the picture whatever the numbers are; at its last column and row the share of what is beyond is then a whole one of the last pixel.
        Vector256<int> left = Vector256.ClampNative(Vector256.ConvertToInt32Native(clampedX), Vector256<int>.Zero, Vector256.Create(Width - 2));
        Vector256<int> top = Vector256.ClampNative(Vector256.ConvertToInt32Native(clampedY), Vector256<int>.Zero, Vector256.Create(Height - 2));
        Vector256<int> places = (top * Width) + left;
        Vector256<uint> pixelsOfAll = Vector256.Create(
            Four(places.GetElement(0)), Four(places.GetElement(1)), Four(places.GetElement(2)), Four(places.GetElement(3)),
            Four(places.GetElement(4)), Four(places.GetElement(5)), Four(places.GetElement(6)), Four(places.GetElement(7)));
        Vector256<float> shareX = clampedX - Vector256.ConvertToSingle(left);
        Vector256<float> shareY = clampedY - Vector256.ConvertToSingle(top);
        Vector256<float> upper = Between(pixelsOfAll & Vector256.Create(0xFFu), (pixelsOfAll >> 8) & Vector256.Create(0xFFu), shareX);
        Vector256<float> lower = Between((pixelsOfAll >> 16) & Vector256.Create(0xFFu), pixelsOfAll >> 24, shareX);
        return upper + ((lower - upper) * shareY);
    }

    private static Vector256<float> Between(Vector256<uint> one, Vector256<uint> other, Vector256<float> share)
    {
        Vector256<float> first = Vector256.ConvertToSingle(one.AsInt32());
        return first + ((Vector256.ConvertToSingle(other.AsInt32()) - first) * share);
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

    public bool Holds(double x, double y) => x >= X && x < Right && y >= Y && y < Bottom;

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
