using System.Globalization;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Pipeline.Objects.Stills;

/// <summary>
/// Makes of a still in the spool what can go into Pixel Data, by the mildest way that suffices:
/// <code>
/// baseline JPEG, upright                       as it is, bit for bit
/// progressive or extended JPEG, upright        written anew from its coefficients, without loss
/// JPEG turned, on the grid of its blocks       turned by its coefficients, without loss
/// JPEG turned, off that grid                   decoded, turned, compressed again: DERIVED, a second lossy step; beyond 10 megapixels stored uncompressed
/// RGB JPEG, steps beyond 255, odd sampling     decoded, stored uncompressed: no second loss, no viewer that takes it for YCbCr
/// PNG, BMP, lossless WebP                      decoded, stored uncompressed
/// anything else, and whatever is not whole     held, with the reason
/// </code>
/// What the file is, its bytes say; its name says nothing.
/// </summary>
internal sealed class StillPreparation(DerivedFiles derivedFiles)
{
    private const string JpegMethod = "ISO_10918_1";

    /// <summary>Pictures that are decoded or rearranged take up to 96 MiB each: one at a time.</summary>
    private readonly Lock oneAtATime = new();

    /// <summary>Makes the content of a file, or says why it is held.</summary>
    /// <param name="path">The file in the spool, by absolute path.</param>
    /// <param name="header">What <see cref="JpegHeader.ReadFile"/> says of it, be it a JPEG file or not.</param>
    /// <param name="cancellation">Ends it early.</param>
    /// <param name="mayLoseAgain">False: what would have to be compressed a second time is stored uncompressed.</param>
    /// <exception cref="Persistence.StateUnavailableException">The spool takes no made file now.</exception>
    /// <exception cref="OperationCanceledException">It was cancelled.</exception>
    public ContentOutcome Prepare(string path, JpegHeader header, CancellationToken cancellation, bool mayLoseAgain = true)
    {
        JpegRefusal? refusal = JpegBaseline.Judge(header);
        Exif exif = Exif.Read(header.Exif.Span);
        if (refusal is null && exif.Orientation is null or 1 && JpegColors.Of(header) != JpegColor.Rgb)
        {
            return AsItIs(path, header, exif);
        }

        lock (oneAtATime)
        {
            cancellation.ThrowIfCancellationRequested();
            return refusal?.Obstacle == JpegObstacle.NotJpeg ? OtherFormat(path) : RearrangedJpeg(path, header, exif, refusal, mayLoseAgain, cancellation);
        }
    }

    private static ContentOutcome.Made AsItIs(string path, JpegHeader header, Exif exif)
    {
        JpegStream stream = JpegBaseline.Plan(header, path);
        return Made(JpegContent(header, exif, stream.Pixels, stream.StreamLength, stream.Rows, stream.Columns, JpegNotes(header)));
    }

    private ContentOutcome RearrangedJpeg(
        string path, JpegHeader header, Exif exif, JpegRefusal? refusal, bool mayLoseAgain, CancellationToken cancellation)
    {
        bool isOddlySampled = refusal?.Obstacle == JpegObstacle.Components && header.Components.Count == 3;
        if (refusal is not null && !isOddlySampled && (refusal.Obstacle is not (JpegObstacle.Progressive or JpegObstacle.Extended) || header.Precision != 8))
        {
            return Held(StillReasons.Of(refusal));
        }

        var orientation = JpegOrientation.Of(exif.Orientation ?? 1);
        bool staysJpeg = JpegColors.Of(header) != JpegColor.Rgb && !isOddlySampled && !header.Components.Any(component =>
            component.Horizontal > header.Components[0].Horizontal || component.Vertical > header.Components[0].Vertical);
        if (staysJpeg && orientation.FitsGridOf(header))
        {
            return ByCoefficients(path, header, exif, orientation, cancellation);
        }

        // A decoder fills in what a torn progressive file lacks; only the coefficients tell that nothing is missing. Sequential ones were counted.
        if (header.FrameMarker == 0xC2)
        {
            using JpegCoefficients? whole = JpegCoefficients.ReadFile(header, path, out JpegRefusal? broken, cancellation);
            if (whole is null)
            {
                return Held(StillReasons.Of(broken!));
            }
        }

        return staysJpeg && mayLoseAgain ? CompressedAgain(path, header, exif, orientation) : DecodedJpeg(path, header, exif, orientation);
    }

    private ContentOutcome ByCoefficients(string path, JpegHeader header, Exif exif, JpegOrientation orientation, CancellationToken cancellation)
    {
        using DerivedFile file = derivedFiles.Create(header.Length + (header.Length / 2));
        JpegRefusal? refusal;
        long length = 0;
        using (JpegCoefficients? coefficients = JpegCoefficients.ReadFile(header, path, out refusal, cancellation))
        {
            refusal = coefficients is null ? refusal : file.Write(target => coefficients.WriteBaseline(target, orientation, out length, cancellation));
        }

        if (refusal is not null)
        {
            return refusal.Obstacle == JpegObstacle.Extended ? DecodedJpeg(path, header, exif, orientation) : Held(StillReasons.Of(refusal));
        }

        (int rows, int columns) = orientation.Transposes ? (header.Columns, header.Rows) : (header.Rows, header.Columns);
        StillContent content = JpegContent(header, exif, Even(file.Keep(), length), length, rows, columns, JpegNotes(header));
        return Made(content with { Derivation = new Derivation(RearrangementWords(header, exif.Orientation ?? 1), [], PixelsChanged: false) });
    }

    private static string RearrangementWords(JpegHeader header, int orientation)
    {
        string coding = header.FrameMarker == 0xC0 ? "" : header.FrameMarker == 0xC2
            ? "The camera's progressive JPEG stream was rewritten as a baseline one. "
            : "The camera's extended sequential JPEG stream was rewritten as a baseline one. ";
        string turning = orientation == 1 ? "" : string.Create(
            CultureInfo.InvariantCulture, $"The picture was turned upright from Exif orientation {orientation}. ");
        return $"{coding}{turning}Done on the quantized DCT coefficients, without decoding and without further loss.";
    }

    private ContentOutcome CompressedAgain(string path, JpegHeader header, Exif exif, JpegOrientation orientation)
    {
        using StillPixels? pixels = StillPixels.Open(path, orientation, header.FrameMarker == 0xC2);
        if (pixels is null)
        {
            return Held(StillReasons.Undecodable(StillFormat.Jpeg));
        }

        if (!pixels.FitsCompression)
        {
            return DecodedJpeg(path, header, exif, orientation);
        }

        using DerivedFile file = derivedFiles.Create(header.Length * 2);
        if (file.Write(pixels.WriteJpeg) is { } reason)
        {
            return Held(reason);
        }

        string keptPath = file.Keep();
        JpegStream stream = JpegBaseline.Plan(JpegHeader.ReadFile(keptPath), keptPath);
        decimal before = RatioOf(header, ScanBytes(header));
        decimal after = RatioOf(header, stream.StreamLength);
        string words = string.Create(
            CultureInfo.InvariantCulture,
            $"The camera's JPEG picture was turned upright from Exif orientation {exif.Orientation}; its size does not fit the grid of its blocks, so it was decoded, turned and compressed again (JPEG baseline, quality {StillPixels.JpegQuality}, no chroma subsampling; ratio {before:0.##} before, {after:0.##} now).");
        StillContent content = JpegContent(header, exif, stream.Pixels, stream.StreamLength, stream.Rows, stream.Columns, JpegNotes(header));
        return Made(content with
        {
            LossySteps = [new LossyStep(JpegMethod, before), new LossyStep(JpegMethod, after)],
            Derivation = new Derivation(words, [new DerivationCode("113040", "DCM", "Lossy Compression")], PixelsChanged: true),
        });
    }

    /// <summary>
    /// PS3.5 Table 8.2.1-1 allows RGB in the JPEG syntax only since recent editions, and viewers of the field take a JPEG picture for YCbCr: so RGB goes in
    /// uncompressed, which every viewer shows right, and which adds no loss.
    /// </summary>
    private ContentOutcome DecodedJpeg(string path, JpegHeader header, Exif exif, JpegOrientation orientation)
    {
        if (StillColor.IsXyb(header.IccChunks))
        {
            return Held(StillReasons.Xyb);
        }

        string turning = orientation.IsUpright ? "" : string.Create(CultureInfo.InvariantCulture, $" and turned upright from Exif orientation {exif.Orientation}");
        string words = $"The camera's JPEG picture was decoded{turning}, and stored uncompressed, without further loss.";
        StillColor color = StillColor.Of(header.IccChunks, exif);
        ContentOutcome outcome = Uncompressed(path, StillFormat.Jpeg, exif, orientation, color, words, header.FrameMarker == 0xC2);
        return outcome is ContentOutcome.Made { Content: StillContent content }
            ? Made(content with { LossySteps = [new LossyStep(JpegMethod, RatioOf(header, ScanBytes(header)))], Notes = [.. content.Notes, .. JpegNotes(header)] })
            : outcome;
    }

    private ContentOutcome OtherFormat(string path)
    {
        StillFormat format = StillFormats.OfFile(path);
        switch (format)
        {
            case StillFormat.Png:
                return Png(path);
            case StillFormat.WebP:
                return WebP(path);
            case StillFormat.Bmp:
                return Uncompressed(path, format, Exif.Empty, default, default, "The camera's BMP picture was decoded and stored uncompressed, without loss.");
            case StillFormat.Unknown or StillFormat.Jpeg:
                return Held(StillReasons.Unknown);
            default:
                return Held(StillReasons.CannotBeRead(format));
        }
    }

    private ContentOutcome Png(string path)
    {
        PngHeader header = PngHeader.ReadFile(path);
        if (header.Flaw is { } flaw)
        {
            return Held(StillReasons.Torn(flaw));
        }

        if (header.IsAnimated || header.BitDepth == 16)
        {
            return Held(header.IsAnimated ? StillReasons.Animated : StillReasons.SixteenBits);
        }

        Exif exif = Exif.Read(header.Exif.Span);
        return Uncompressed(
            path, StillFormat.Png, exif, JpegOrientation.Of(exif.Orientation ?? 1), StillColor.Of(header.IccChunks, exif, header.IsSrgb),
            $"The camera's PNG picture was decoded{TurningWords(exif)} and stored uncompressed, without loss.");
    }

    private ContentOutcome WebP(string path)
    {
        WebpHeader header = WebpHeader.ReadFile(path);
        if (header.Flaw is { } flaw)
        {
            return Held(StillReasons.Torn(flaw));
        }

        if (header.IsAnimated || !header.IsLossless)
        {
            return Held(header.IsAnimated ? StillReasons.Animated : StillReasons.LossyWebP);
        }

        Exif exif = Exif.Read(header.Exif.Span);
        return Uncompressed(
            path, StillFormat.WebP, exif, JpegOrientation.Of(exif.Orientation ?? 1), StillColor.Of(header.IccChunks, exif),
            $"The camera's WebP picture was decoded{TurningWords(exif)} and stored uncompressed, without loss.");
    }

    private static string TurningWords(Exif exif) => exif.Orientation is null or 1
        ? ""
        : string.Create(CultureInfo.InvariantCulture, $", turned upright from Exif orientation {exif.Orientation}");

    private ContentOutcome Uncompressed(string path, StillFormat format, Exif exif, JpegOrientation orientation, StillColor color, string words, bool isProgressive = false)
    {
        using StillPixels? pixels = StillPixels.Open(path, orientation, isProgressive);
        if (pixels is null)
        {
            return Held(StillReasons.Undecodable(format));
        }

        if (pixels.Columns > ushort.MaxValue || pixels.Rows > ushort.MaxValue)
        {
            return Held(StillReasons.TooLarge(pixels.Columns, pixels.Rows, StillPixels.MaximumBytes));
        }

        using DerivedFile file = derivedFiles.Create(pixels.SampleBytes);
        if (file.Write(target =>
        {
            using var buffered = new BufferedStream(target, 1 << 16);
            return pixels.WriteSamples(buffered);
        }) is { } reason)
        {
            return Held(reason);
        }

        return Made(new StillContent
        {
            Native = Even(file.Keep(), pixels.SampleBytes),
            TransferSyntaxUID = TransferSyntax.ExplicitLittleEndian.Uid,
            Rows = pixels.Rows,
            Columns = pixels.Columns,
            SamplesPerPixel = pixels.IsGrey ? 1 : 3,
            BitsAllocated = 8,
            BitsStored = 8,
            PhotometricInterpretation = pixels.IsGrey ? "MONOCHROME2" : "RGB",
            StreamLength = pixels.SampleBytes,
            Derivation = new Derivation(words, [], PixelsChanged: false),
            IccProfile = pixels.IsGrey ? default : color.Profile,
            ColorSpace = pixels.IsGrey ? null : color.ColorSpace,
            Notes = pixels.IsGrey || color.Note is null ? [] : [color.Note],
            Exif = exif,
        });
    }

    private static StillContent JpegContent(
        JpegHeader header, Exif exif, PixelSource fragment, long length, int rows, int columns, IReadOnlyList<string> notes)
    {
        bool isGrey = header.Components.Count == 1;
        StillColor color = isGrey ? default : StillColor.Of(header.IccChunks, exif);
        return new StillContent
        {
            Fragments = [fragment],
            TransferSyntaxUID = TransferSyntax.JpegBaseline.Uid,
            Rows = rows,
            Columns = columns,
            SamplesPerPixel = isGrey ? 1 : 3,
            BitsAllocated = 8,
            BitsStored = 8,
            PhotometricInterpretation = isGrey ? "MONOCHROME2" : "YBR_FULL_422",
            StreamLength = length,
            LossySteps = [new LossyStep(JpegMethod, RatioOf(header, length))],
            IccProfile = color.Profile,
            ColorSpace = color.ColorSpace,
            Notes = color.Note is null ? notes : [color.Note, .. notes],
            Exif = exif,
        };
    }

    private static IReadOnlyList<string> JpegNotes(JpegHeader header) =>
        header.HasMultiPictureIndex || header.Trailer == JpegTrailer.Picture ? ["The file holds more than one picture; the first one is filed."]
        : header.Trailer == JpegTrailer.Other ? [string.Create(CultureInfo.InvariantCulture, $"{header.TrailingBytes} bytes behind the end of the picture are left out.")]
        : [];

    /// <summary>Bytes of the camera's stream without application data and what follows the picture.</summary>
    private static long ScanBytes(JpegHeader header) => header.Segments.Where(segment => !segment.IsApplicationData).Sum(segment => segment.Length);

    private static decimal RatioOf(JpegHeader header, long length) => (decimal)header.Rows * header.Columns * header.Components.Count / length;

    private static PixelSource Even(string path, long length) => (length & 1) == 0
        ? PixelSource.FromFile(path, 0, length)
        : PixelSource.Concat(PixelSource.FromFile(path, 0, length), PixelSource.FromBytes(new byte[1]));

    private static ContentOutcome.Made Made(StillContent content) => new ContentOutcome.Made(content);

    private static ContentOutcome.Held Held(Reason reason) => new ContentOutcome.Held(reason);
}
