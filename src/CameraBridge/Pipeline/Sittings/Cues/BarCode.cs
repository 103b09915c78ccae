using ZXing;
using ZXing.Common;
using ZXing.OneD;

namespace CameraBridge.Pipeline.Sittings.Cues;

/// <summary>
/// A Code 128 in a picture, as far as its bars go. One line across bars proves little: the only check value is modulo 103 (ISO/IEC 15417), so that
/// one misread line in a hundred would pass for a patient's ID. The lines beside it must say the same.
/// </summary>
internal sealed class BarCode
{
    /// <summary>Lines beside the first one that must say the same.</summary>
    private const int LeastLines = 2;

    /// <summary>For each line that says something else, so many must say the same: a few misread lines are normal at the edges of the bars.</summary>
    private const int AgainstOne = 4;

    /// <summary>The lines run on by this share of their length at both ends, over the quiet zones.</summary>
    private const double QuietZone = 0.12;

    private static readonly Dictionary<DecodeHintType, object> Hints = new() { [DecodeHintType.TRY_HARDER] = true, [DecodeHintType.ASSUME_GS1] = true };

    private readonly Code128Reader _reader = new();
    private readonly GreyPicture _picture;
    private readonly string _text;
    private readonly bool _upright;
    private readonly int _line;
    private readonly int _from;
    private readonly int _to;

    private BarCode(GreyPicture picture, Result result)
    {
        // Lines are read along the rows of the picture or, of the picture turned by a right angle, along its columns.
        ResultPoint a = result.ResultPoints[0];
        ResultPoint b = result.ResultPoints[^1];
        _picture = picture;
        _text = result.Text;
        _upright = Math.Abs(b.X - a.X) >= Math.Abs(b.Y - a.Y);
        (float first, float last) = _upright ? (a.X, b.X) : (a.Y, b.Y);
        double quiet = Math.Abs(last - first) * QuietZone;
        int end = (_upright ? picture.Width : picture.Height) - 1;
        _line = (int)Math.Clamp(Math.Round(_upright ? a.Y : a.X), 0, (_upright ? picture.Height : picture.Width) - 1);
        _from = (int)Math.Clamp(Math.Min(first, last) - quiet, 0, end);
        _to = (int)Math.Clamp(Math.Max(first, last) + quiet, _from, end);
    }

    /// <summary>True when enough lines say the same, and hardly any says anything else.</summary>
    public bool IsConfirmed { get; private set; }

    /// <summary>The corners of all of its bars.</summary>
    public (double X, double Y)[] Corners { get; private set; } = [];

    /// <summary>Looks at the lines beside the one that was read.</summary>
    public static BarCode Around(GreyPicture picture, Result result)
    {
        var bars = new BarCode(picture, result);
        (int up, int above, int otherAbove) = bars.Walk(-1);
        (int down, int below, int otherBelow) = bars.Walk(1);
        bars.IsConfirmed = above + below >= Math.Max(LeastLines, AgainstOne * (otherAbove + otherBelow));

        // Bars reach a little beyond the last line that could be read.
        int margin = 2 + ((bars._to - bars._from) / 40);
        (int top, int bottom) = (bars._line - up - margin, bars._line + down + margin);
        bars.Corners = bars._upright
            ? [(bars._from, top), (bars._to, top), (bars._to, bottom), (bars._from, bottom)]
            : [(top, bars._from), (bottom, bars._from), (bottom, bars._to), (top, bars._to)];
        return bars;
    }

    /// <summary>Goes from line to line until some in a row cannot be read.</summary>
    /// <returns>How far the last one lies that says the same, how many do, and how many say something else.</returns>
    private (int Distance, int Lines, int Others) Walk(int direction)
    {
        int length = _to - _from + 1;
        int step = Math.Max(1, length / 400);
        int gap = Math.Max(4, length / 16);
        int last = 0;
        int lines = 0;
        int others = 0;
        for (int distance = step; distance <= last + gap; distance += step)
        {
            string? text = Read(_line + (direction * distance));
            if (text == _text)
            {
                lines++;
                last = distance;
            }
            else if (text is not null)
            {
                others++;
            }
        }

        return (last, lines, others);
    }

    private string? Read(int line)
    {
        if (line < 0 || line >= (_upright ? _picture.Height : _picture.Width))
        {
            return null;
        }

        byte[] values = new byte[_to - _from + 1];
        int at = _upright ? (line * _picture.Width) + _from : (_from * _picture.Width) + line;
        int next = _upright ? 1 : _picture.Width;
        for (int i = 0; i < values.Length; i++, at += next)
        {
            values[i] = _picture.Pixels[at];
        }

        if (new GlobalHistogramBinarizer(new GreyPicture(values, values.Length, 1)).getBlackRow(0, null) is not { } row)
        {
            return null;
        }

        if (_reader.decodeRow(0, row, Hints) is { } found)
        {
            return found.Text;
        }

        row.reverse();
        return _reader.decodeRow(0, row, Hints)?.Text;
    }
}
