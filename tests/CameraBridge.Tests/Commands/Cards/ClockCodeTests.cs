using CameraBridge.Commands.Cards;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Sittings.Cues;
using CameraBridge.Pipeline.Sittings.Cues.Cards;
using CameraBridge.Tests.Peers;
using Microsoft.Extensions.Time.Testing;
using SkiaSharp;
using Xunit;

namespace CameraBridge.Tests.Commands.Cards;

/// <summary>The code that tells the time, as a terminal shows it and as a picture, read by our reader and by ZBar.</summary>
public sealed class ClockCodeTests
{
    private static readonly DateTimeOffset Now = new(2026, 11, 25, 10, 30, 15, 700, TimeSpan.FromHours(1));

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task The_terminals_half_blocks_are_a_code_that_tells_the_time()
    {
        string file = Path.GetTempFileName();
        try
        {
            using (SKData picture = Screen(ClockCode.InText(Now, CardTexts.Of("en"))))
            {
                Assert.Equal(Now.AddMilliseconds(-700), Assert.Single(Cues(picture)).Card!.Clock);
                await File.WriteAllBytesAsync(file, picture.ToArray(), Cancellation);
            }

            Assert.Equal(CardText.Write(ClockCode.Of(Now)), (await OutsideProgram.RunAsync("/usr/bin/zbarimg", "--raw", "-q", file)).Trim());
        }
        finally
        {
            File.Delete(file);
        }
    }

    [Fact]
    public void The_picture_tells_the_time_too()
    {
        using SKData picture = SKData.CreateCopy(ClockCode.InPicture(Now));

        Assert.Equal(Now.AddMilliseconds(-700), Assert.Single(Cues(picture)).Card!.Clock);
    }

    [Fact]
    public async Task It_shows_a_new_code_with_each_full_second_and_ends_when_it_is_told_to()
    {
        FakeTimeProvider clock = new(Now);
        using CancellationTokenSource stop = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        using StringWriter terminal = new();

        Task shown = ClockCode.RunAsync(terminal, CardTexts.Of("en"), clock, stop.Token);
        clock.Advance(TimeSpan.FromMilliseconds(299));
        string first = terminal.ToString();
        clock.Advance(TimeSpan.FromMilliseconds(1));
        string second = terminal.ToString()[first.Length..];
        await stop.CancelAsync();
        await shown;

        Assert.Contains("09:30:15 UTC", first, StringComparison.Ordinal);
        Assert.DoesNotContain("09:30:16 UTC", first, StringComparison.Ordinal);
        Assert.Contains("09:30:16 UTC", second, StringComparison.Ordinal);
    }

    private static IEnumerable<Cue> Cues(SKData picture) => new LabelReader().Read(picture).Texts.Select(text => CardReading.Read(text, OpticsTable.Own, 1)).OfType<Cue>();

    /// <summary>What a terminal shows of half blocks in black on white: each character two pixels, one above the other, here of 10 by 10, and the dark screen around them.</summary>
    private static SKData Screen(string text)
    {
        const int Pixel = 10, Around = 75;
        string[] lines = [.. text.Split('\n').TakeWhile(line => line.Length > 0).Select(line => line.Replace("\u001b[38;5;16;48;5;231m", "", StringComparison.Ordinal).Replace("\u001b[0m", "", StringComparison.Ordinal))];
        using SKBitmap bitmap = new((lines[0].Length * Pixel) + (2 * Around), (lines.Length * 2 * Pixel) + (2 * Around), SKColorType.Rgba8888, SKAlphaType.Opaque);
        using SKCanvas canvas = new(bitmap);
        canvas.Clear(new SKColor(30, 30, 30));
        canvas.Translate(Around, Around);
        using SKPaint white = new() { Color = SKColors.White };
        canvas.DrawRect(0, 0, lines[0].Length * Pixel, lines.Length * 2 * Pixel, white);
        using SKPaint black = new() { Color = SKColors.Black };
        for (int row = 0; row < lines.Length; row++)
        {
            for (int column = 0; column < lines[row].Length; column++)
            {
                char block = lines[row][column];
                Assert.Contains(block, " ▀▄█");
                if (block is '▀' or '█')
                {
                    canvas.DrawRect(column * Pixel, row * 2 * Pixel, Pixel, Pixel, black);
                }

                if (block is '▄' or '█')
                {
                    canvas.DrawRect(column * Pixel, ((row * 2) + 1) * Pixel, Pixel, Pixel, black);
                }
            }
        }

        canvas.Flush();
        return bitmap.Encode(SKEncodedImageFormat.Png, 100);
    }
}
