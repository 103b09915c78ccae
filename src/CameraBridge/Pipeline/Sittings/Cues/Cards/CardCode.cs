using ZXing.QrCode.Internal;

namespace CameraBridge.Pipeline.Sittings.Cues.Cards;

/// <summary>The QR code of a card's text.</summary>
internal static class CardCode
{
    /// <summary>Modules of white that a QR code has around it (ISO/IEC 18004 section 6.3.8, from memory).</summary>
    public const int QuietZone = 4;

    /// <summary>
    /// The modules, true where dark, as [row, column], without the quiet zone. Of the smallest symbol that holds the text at level M, the highest level of
    /// error correction that still fits: what a camera loses first is modules that are too small, so no level may enlarge the symbol; what is left over is
    /// spent against glare and dirt.
    /// </summary>
    public static bool[,] Draw(string text)
    {
        QRCode code = Encoder.encode(text, ErrorCorrectionLevel.M);
        foreach (ErrorCorrectionLevel level in (ErrorCorrectionLevel[])[ErrorCorrectionLevel.H, ErrorCorrectionLevel.Q])
        {
            if (Encoder.encode(text, level) is var stronger && stronger.Version.VersionNumber == code.Version.VersionNumber)
            {
                code = stronger;
                break;
            }
        }

        int side = code.Matrix.Width;
        var modules = new bool[side, side];
        for (int row = 0; row < side; row++)
        {
            for (int column = 0; column < side; column++)
            {
                modules[row, column] = code.Matrix[column, row] == 1;
            }
        }

        return modules;
    }
}
