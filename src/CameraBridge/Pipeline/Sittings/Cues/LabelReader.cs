using CameraBridge.Pipeline.Sittings.Cues.Codes;
using CameraBridge.Pipeline.Sittings.Cues.Labels;
using SkiaSharp;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>What a look at a picture gave.</summary>
/// <param name="Codes">The codes in it; corners in pixels of the file, as its rows are stored, the middle of the first pixel being (0.5, 0.5).</param>
/// <param name="Whole">False when the picture, or a part of it, could not be decoded, so that a code may have been missed.</param>
/// <param name="Columns">Pixels in a row of the file.</param>
/// <param name="Rows">Rows of the file.</param>
internal sealed record LabelReading(IReadOnlyList<FoundCode> Codes, bool Whole, int Columns, int Rows)
{
    public static LabelReading Unreadable { get; } = new([], false, 0, 0);

    /// <summary>The texts of the codes, each once, in ordinal order.</summary>
    public IReadOnlyList<string> Texts { get; } = [.. Codes.Select(code => code.Text).Distinct(StringComparer.Ordinal).Order(StringComparer.Ordinal)];
}

/// <summary>
/// Looks for codes in a camera picture. The picture is decoded small, which costs two thirds of decoding it whole; there the finder patterns of QR codes,
/// fields of bars and other busy parts are looked for, and only what looks like a code is read, as finely as it needs. Not thread-safe: one reader a
/// thread.
/// </summary>
/// <param name="also">Symbologies to search besides QR Code, Data Matrix and Code 128.</param>
internal sealed class LabelReader(IReadOnlyList<RareCode>? also = null)
{
    /// <summary>The small picture has at least so many pixels on its long side.</summary>
    public const int LookSide = 600;

    /// <summary>The fine picture has at least so many.</summary>
    public const int FineSide = 1280;

    private readonly CodeFinder _finder = new(also ?? []);

    /// <summary>Looks at a file that lies in memory.</summary>
    public LabelReading Read(SKData file)
    {
        using PictureDecoder? decoder = PictureDecoder.Open(file);
        if (decoder?.Decode(LookSide) is not { } look)
        {
            return LabelReading.Unreadable;
        }

        bool whole = decoder.IsWhole;
        var fine = new Lazy<(GreyPicture Picture, double Factor)?>(() => Finer(decoder, look, FineSide));
        IReadOnlyList<FoundCode> codes = _finder.Find(look, fine);
        double factor = decoder.Width / (double)look.Width;
        return new LabelReading([.. codes.Select(code => code.Scale(factor))], whole, decoder.Width, decoder.Height);
    }

    /// <summary>The picture in a larger size, and by how much; null where the file has no more to show.</summary>
    private static (GreyPicture Picture, double Factor)? Finer(PictureDecoder decoder, GreyPicture look, int leastLongSide) =>
        decoder.Decode(leastLongSide) is { } picture && picture.Width > look.Width ? (picture, picture.Width / (double)look.Width) : null;
}
