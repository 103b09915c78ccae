using System.Globalization;
using System.Net;
using System.Text;
using CameraBridge.Commands;
using CameraBridge.Pipeline.Releases;

namespace CameraBridge.WebConsole;

/// <summary>The page for a wall screen: whether each stick may be wiped, legible from across a room; colours never without words. No script, nothing from elsewhere, no patient.</summary>
internal static class WallScreen
{
    /// <summary>Seconds until a browser asks for the page again.</summary>
    public const int RefreshSeconds = 10;

    public const string Style = """
        * { box-sizing: border-box; }
        body { margin: 0; padding: 3vh 3vw; background: #fff; color: #14181d; font: 3.2vh/1.35 system-ui, "Segoe UI", Roboto, Arial, sans-serif; }
        h1 { font-size: 3.2vh; font-weight: 600; margin: 0 0 2vh; color: #4b5563; }
        section { border-left: 2.4vh solid; padding: 1.6vh 2.4vw; margin: 0 0 2vh; }
        section h2 { font-size: 4vh; margin: 0; }
        section p { margin: .4vh 0 0; }
        section .word { font-size: 6.4vh; font-weight: 700; line-height: 1.15; }
        .safe { border-color: #14643b; background: #e5f4ec; }
        .safe .word { color: #0f5130; }
        .no { border-color: #a4161a; background: #fbe9e9; }
        .no .word { color: #8c1216; }
        .quiet { border-color: #6b7280; background: #f1f3f6; }
        .note { color: #374151; }
        footer { margin-top: 3vh; font-size: 2.2vh; color: #4b5563; }
        """;

    public static string Write(StatusReply status)
    {
        StringBuilder page = new();
        page.Append(CultureInfo.InvariantCulture, $"""
            <!doctype html>
            <html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
            <meta http-equiv="refresh" content="{RefreshSeconds}"><title>May the sticks be wiped?</title><link rel="stylesheet" href="/wall.css"></head><body>
            <h1>May it be wiped? As of {status.At:yyyy-MM-dd HH:mm:ss}</h1>

            """);
        foreach (SourceSurvey one in status.Sources)
        {
            (string look, string word) = LookOf(one.Wiping);
            page.Append(CultureInfo.InvariantCulture, $"""
                <section class="{look}"><h2>{Text(one.Mount.Length == 0 ? one.Source : $"{one.Source}: {one.Mount}")}</h2>
                <p class="word">{word}</p><p class="note">{Text(one.Details)}</p></section>

                """);
        }

        int undelivered = status.Destinations.Sum(destination => destination.Waiting + destination.Ended);
        int unconfirmed = status.Destinations.Sum(destination => destination.Unconfirmed);
        page.Append(CultureInfo.InvariantCulture, $"""
            <section class="{(status.ExitCode == ExitCodes.AllWell ? "quiet" : "no")}"><h2>The gateway</h2>
            <p class="note">{undelivered} not delivered, {unconfirmed} not confirmed, {status.Held} sittings held for a person</p></section>
            <footer>Whether and when a stick may be wiped is for the policy of the hospital to say. This page is no diagnostic device. If the time above stands still, do not rely on it.</footer>
            </body></html>

            """);
        return page.ToString();
    }

    private static (string Look, string Word) LookOf(Wiping wiping) => wiping switch
    {
        Wiping.Safe => ("safe", "SAFE TO WIPE"),
        Wiping.NotYet => ("no", "NOT YET"),
        Wiping.NotKnown => ("no", "NOT KNOWN"),
        Wiping.Empty => ("quiet", "no pictures on it"),
        _ => ("quiet", "not there"),
    };

    private static string Text(string text) => WebUtility.HtmlEncode(text);
}
