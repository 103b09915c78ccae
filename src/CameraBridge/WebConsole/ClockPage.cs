using System.Globalization;
using CameraBridge.Commands.Cards;

namespace CameraBridge.WebConsole;

/// <summary>The page with the code that tells the time, for a camera to photograph. A browser asks for it anew each second; no script, nothing from elsewhere.</summary>
internal static class ClockPage
{
    public const string Style = """
        * { box-sizing: border-box; }
        body { margin: 0; padding: 2vh; background: #fff; color: #14181d; text-align: center; font: 2.6vh/1.35 system-ui, "Segoe UI", Roboto, Arial, sans-serif; }
        img { width: auto; height: 74vh; image-rendering: pixelated; }
        p { margin: .6vh auto 0; max-width: 70em; }
        .caution { font-weight: 700; }
        """;

    public static string Write(DateTimeOffset now, CardTexts texts) => string.Create(CultureInfo.InvariantCulture, $"""
        <!doctype html>
        <html lang="{texts.Language}"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
        <meta http-equiv="refresh" content="1"><title>{texts["clock"]}</title><link rel="stylesheet" href="/clock.css"></head><body>
        <img src="/clock.png" alt="{ClockCode.Words(now)}">
        <p>{texts["say.clock"]}</p>
        <p class="caution">{texts["care.clock"]}</p>
        </body></html>

        """);
}
