using ZXing;
using ZXing.Common;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Scenes;

/// <summary>A white card with one code in its middle and lines of print below, in millimetres from the code's middle.</summary>
internal sealed class PrintedCard
{
    private readonly BitMatrix _code;

    public PrintedCard(BarcodeFormat format, string text, double millimetres)
    {
        IsBars = format == BarcodeFormat.CODE_128;
        _code = new MultiFormatWriter().encode(text, format, 0, IsBars ? 1 : 0, new Dictionary<EncodeHintType, object>
        {
            [EncodeHintType.MARGIN] = 0,
            [EncodeHintType.ERROR_CORRECTION] = format == BarcodeFormat.AZTEC ? 33 : ZXing.QrCode.Internal.ErrorCorrectionLevel.M,
            [EncodeHintType.DATA_MATRIX_SHAPE] = ZXing.Datamatrix.Encoder.SymbolShapeHint.FORCE_SQUARE,
        });
        Module = millimetres / Math.Max(_code.Width, IsBars ? 0 : _code.Height);
        CodeWidth = _code.Width * Module;
        CodeHeight = IsBars ? Math.Max(10, 0.15 * CodeWidth) : _code.Height * Module;

        // Quiet zones: 4 modules (ISO/IEC 18004, 6.3.8, from memory), 10 (ISO/IEC 15417, from memory); more than the one of Data Matrix.
        Quiet = (IsBars ? 10 : 4) * Module;
        Width = CodeWidth + (2 * Quiet) + (4 * Module);
        Height = CodeHeight + (2 * Quiet) + (0.6 * CodeWidth);
    }

    /// <summary>A code of bars only, of any height.</summary>
    public bool IsBars { get; }

    /// <summary>Modules in a row.</summary>
    public int Columns => _code.Width;

    public double Module { get; }

    public double CodeWidth { get; }

    public double CodeHeight { get; }

    public double Quiet { get; }

    public double Width { get; }

    public double Height { get; }

    /// <summary>True on the card.</summary>
    public bool Holds(double x, double y) => Math.Abs(x) < Width / 2 && Math.Abs(y) < Height / 2;

    /// <summary>True where it is printed.</summary>
    public bool IsInk(double x, double y)
    {
        double column = (x + (CodeWidth / 2)) / Module;
        double row = (y + (CodeHeight / 2)) / Module;
        if (column >= 0 && column < _code.Width && Math.Abs(y) < CodeHeight / 2)
        {
            return _code[(int)column, IsBars ? 0 : Math.Min((int)row, _code.Height - 1)];
        }

        // Two lines of print, as pieces of uneven length.
        double below = y - (CodeHeight / 2) - Quiet;
        double line = CodeWidth * 0.05;
        if (below < 0 || below > 3 * line || Math.Abs(x) > CodeWidth / 2 || below % (1.6 * line) > line * 0.9)
        {
            return false;
        }

        double place = (x + CodeWidth) / line;
        return (place * 1.31) % 1 < 0.3 + (0.5 * (((int)(place * 1.31) * 7 % 10) / 10.0)) && (below + (place * 0.11)) % (line * 0.5) > line * 0.12;
    }
}
