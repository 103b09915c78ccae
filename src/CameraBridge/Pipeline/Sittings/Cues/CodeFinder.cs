using CameraBridge.Pipeline.Sittings.Cues.Labels;
using ZXing;
using ZXing.Common;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>
/// Reads QR codes, Data Matrix and Code 128 out of a grey picture: the three formats that gave no phantom reading in tests on pictures without
/// codes, which the weaker linear formats did; others only where a pattern of the site asks for them. FNC1 in Code 128 is kept, as GS1 needs it. One at a time; what was read is covered, so that a second code is seen too. Not thread-safe.
/// </summary>
/// <param name="also">Symbologies to search besides.</param>
internal sealed class CodeFinder(IReadOnlyList<RareCode>? also = null)
{
    /// <summary>More codes than this in one picture is no label shot.</summary>
    private const int MostReadings = 16;

    private static readonly BarcodeFormat[] Formats = [BarcodeFormat.QR_CODE, BarcodeFormat.DATA_MATRIX, BarcodeFormat.CODE_128];

    private readonly MultiFormatReader reader = new();

    private readonly ZXing.Datamatrix.DataMatrixReader dataMatrix = new();

    private readonly Dictionary<DecodeHintType, object> everything = Hints([.. Formats, .. (also ?? []).Select(FormatOf)]);

    /// <summary>Reads all codes that it sees in the picture, which is painted over where they are.</summary>
    /// <param name="picture">The picture.</param>
    /// <param name="texts">Takes the texts.</param>
    /// <returns>The four corners of each place that was painted over.</returns>
    public IReadOnlyList<(double X, double Y)[]> Read(GreyPicture picture, ISet<string> texts)
    {
        var covers = new List<(double X, double Y)[]>();
        while (covers.Count < MostReadings && Decode(picture) is { } result)
        {
            (double X, double Y)[] corners;
            if (result.ResultPoints.Length >= 2 && result.BarcodeFormat == BarcodeFormat.CODE_128)
            {
                BarCode bars = BarCode.Around(picture, result);
                corners = bars.Corners;
                if (bars.IsConfirmed)
                {
                    texts.Add(CodeMark.TextOf(result));
                }
            }
            else if (result.ResultPoints.Length >= 3)
            {
                corners = Square(result.ResultPoints);
                texts.Add(CodeMark.TextOf(result));
            }
            else
            {
                break;
            }

            picture.Cover(corners);
            covers.Add(corners);
        }

        return covers;
    }

    /// <summary>
    /// Reads a Data Matrix that fills the picture up to its quiet zone. Its reader looks for the code from the middle of the picture outwards, so
    /// it finds one elsewhere only by chance.
    /// </summary>
    public string? ReadDataMatrix(GreyPicture picture)
    {
        Result? result = dataMatrix.decode(new BinaryBitmap(new HybridBinarizer(picture)), everything);
        return string.IsNullOrEmpty(result?.Text) ? null : CodeMark.TextOf(result);
    }

    private static Dictionary<DecodeHintType, object> Hints(BarcodeFormat[] formats) => new()
    {
        [DecodeHintType.TRY_HARDER] = true,
        [DecodeHintType.POSSIBLE_FORMATS] = formats,
        [DecodeHintType.ASSUME_GS1] = true,
    };

    private static BarcodeFormat FormatOf(RareCode code) => code == RareCode.Pdf417 ? BarcodeFormat.PDF_417 : BarcodeFormat.AZTEC;

    private Result? Decode(GreyPicture picture)
    {
        var result = reader.decode(new BinaryBitmap(new HybridBinarizer(picture)), everything);
        return string.IsNullOrEmpty(result?.Text) ? null : result;
    }

    /// <summary>The square around the points, which are its corners or the centres of its finder patterns.</summary>
    private static (double X, double Y)[] Square(ResultPoint[] points)
    {
        // Three finder patterns of a QR code, the middle one first or second, and perhaps an alignment pattern: the fourth corner is opposite.
        bool isQr = points[0] is ZXing.QrCode.Internal.FinderPattern || points.Length == 3;
        (double X, double Y)[] corners = isQr
            ? [(points[0].X, points[0].Y), (points[1].X, points[1].Y), (points[2].X, points[2].Y),
                (points[0].X + points[2].X - points[1].X, points[0].Y + points[2].Y - points[1].Y)]
            : [.. Around(points)];
        double centreX = corners.Average(corner => corner.X);
        double centreY = corners.Average(corner => corner.Y);

        // Enough to break the code, and not so much as to reach its neighbour.
        double factor = isQr ? 1.2 : 1.1;
        return [.. corners.Select(corner => (centreX + ((corner.X - centreX) * factor), centreY + ((corner.Y - centreY) * factor)))];
    }

    private static IEnumerable<(double X, double Y)> Around(ResultPoint[] points)
    {
        double centreX = points.Average(point => point.X);
        double centreY = points.Average(point => point.Y);
        return points.OrderBy(point => Math.Atan2(point.Y - centreY, point.X - centreX)).Select(point => ((double)point.X, (double)point.Y));
    }
}
