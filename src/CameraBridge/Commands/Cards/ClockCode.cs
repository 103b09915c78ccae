using System.Globalization;
using System.Text;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using SkiaSharp;

namespace CameraBridge.Commands.Cards;

/// <summary>The code that tells the time of this machine, for a camera to photograph: in a terminal, and as a picture.</summary>
internal static class ClockCode
{
    /// <summary>Pixels of a module in the picture.</summary>
    private const int ModulePixels = 14;

    /// <summary>Black on white whatever the terminal's colours are, since a code in reversed colours is not read.</summary>
    private const string BlackOnWhite = "\u001b[38;5;16;48;5;231m", Usual = "\u001b[0m";

    public static CardCue Of(DateTimeOffset now) => new(CardKeys.Clock, now.UtcDateTime.ToString(CardKeys.ClockForm, CultureInfo.InvariantCulture));

    /// <summary>The time as people read it under the code.</summary>
    public static string Words(DateTimeOffset now) => now.UtcDateTime.ToString("yyyy-MM-dd HH:mm:ss 'UTC'", CultureInfo.InvariantCulture);

    /// <summary>Lines of half blocks, two rows of modules each, and what it is for.</summary>
    public static string InText(DateTimeOffset now, CardTexts texts)
    {
        bool[,] modules = CardCode.Draw(CardText.Write(Of(now)));
        int side = modules.GetLength(0);
        bool IsDark(int row, int column) =>
            row >= CardCode.QuietZone && row < side + CardCode.QuietZone && column >= CardCode.QuietZone && column < side + CardCode.QuietZone
            && modules[row - CardCode.QuietZone, column - CardCode.QuietZone];

        int all = side + (2 * CardCode.QuietZone);
        StringBuilder text = new();
        for (int row = 0; row < all; row += 2)
        {
            text.Append(BlackOnWhite);
            for (int column = 0; column < all; column++)
            {
                text.Append((IsDark(row, column), IsDark(row + 1, column)) switch { (true, true) => '█', (true, false) => '▀', (false, true) => '▄', _ => ' ' });
            }

            text.Append(Usual).Append('\n');
        }

        return text.Append('\n').Append(Words(now)).Append('\n').Append(texts["say.clock"]).Append('\n').Append(texts["care.clock"]).Append('\n').ToString();
    }

    /// <summary>A picture of the code with the time under it, as PNG.</summary>
    public static byte[] InPicture(DateTimeOffset now)
    {
        bool[,] modules = CardCode.Draw(CardText.Write(Of(now)));
        int inner = modules.GetLength(0) * ModulePixels;
        int quiet = CardCode.QuietZone * ModulePixels;
        using SKBitmap bitmap = new(inner + (2 * quiet), inner + (2 * quiet) + quiet, SKColorType.Rgba8888, SKAlphaType.Opaque);
        using SKCanvas canvas = new(bitmap);
        canvas.Clear(SKColors.White);
        CardDrawing.DrawCode(canvas, modules, quiet, quiet, inner);
        using SKFont font = CardFonts.Of(CardFonts.Bold, quiet * 0.7f);
        using SKPaint ink = new() { Color = SKColors.Black, IsAntialias = true };
        canvas.DrawText(Words(now), bitmap.Width / 2f, bitmap.Height - (quiet * 0.6f), SKTextAlign.Center, font, ink);
        canvas.Flush();
        using SKData data = bitmap.Encode(SKEncodedImageFormat.Png, 100);
        return data.ToArray();
    }

    /// <summary>Shows the code in the terminal, anew with each full second, until it is cancelled.</summary>
    public static async Task RunAsync(TextWriter writer, CardTexts texts, TimeProvider clock, CancellationToken cancellation)
    {
        const string Clear = "\u001b[2J", Home = "\u001b[H";
        try
        {
            await writer.WriteAsync(Clear).ConfigureAwait(false);
            while (true)
            {
                cancellation.ThrowIfCancellationRequested();
                DateTimeOffset now = clock.GetUtcNow();
                await writer.WriteAsync(Home + InText(now, texts)).ConfigureAwait(false);
                await writer.FlushAsync(cancellation).ConfigureAwait(false);
                TimeSpan rest = TimeSpan.FromTicks(TimeSpan.TicksPerSecond - (now.Ticks % TimeSpan.TicksPerSecond));
                await Task.Delay(rest, clock, cancellation).ConfigureAwait(false);
            }
        }
        catch (OperationCanceledException)
        {
            // Ctrl-C is how it ends.
        }
    }
}
