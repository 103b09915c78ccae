using System.Diagnostics;
using System.Text;
using System.Text.RegularExpressions;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;
using Xunit;

namespace CameraBridge.Tests.Dicom.Iods.Agreement;

/// <summary>What dciodvfy (dicom3tools, Debian's of 2022) says of an object, attribute by attribute.</summary>
internal static partial class OutsideJudge
{
    private const string Program = "/usr/bin/dciodvfy";

    public static void Require() => Assert.SkipUnless(File.Exists(Program), "The comparison needs Debian's dicom3tools.");

    /// <returns>Path of each attribute with an error, keywords parted by dots, with what is said of it.</returns>
    public static async Task<IReadOnlyList<Remark>> JudgeAsync(DataSet dataSet, TransferSyntax syntax, string file, CancellationToken cancellationToken)
    {
        var meta = new FileMeta(dataSet.GetString(Tags.SOPClassUID) ?? "1.2.3", dataSet.GetString(Tags.SOPInstanceUID) is { } uid && Uids.IsValid(uid) ? uid : "1.2.3", syntax.Uid);
        await using (Stream source = Part10File.Encode(meta, ElementWriter.Encode(dataSet, syntax)).OpenRead())
        await using (FileStream target = File.Create(file))
        {
            await source.CopyToAsync(target, cancellationToken);
        }

        return await JudgeAsync(file, cancellationToken);
    }

    public static async Task<IReadOnlyList<Remark>> JudgeAsync(string file, CancellationToken cancellationToken)
    {
        using var process = new Process();
        process.StartInfo = new ProcessStartInfo(Program, ["-new", file])
        {
            RedirectStandardError = true,
            RedirectStandardOutput = true,
            StandardErrorEncoding = Encoding.Latin1,
            StandardOutputEncoding = Encoding.Latin1,
        };
        process.Start();
        Task<string> output = process.StandardOutput.ReadToEndAsync(cancellationToken);
        string text = await process.StandardError.ReadToEndAsync(cancellationToken) + await output;
        await process.WaitForExitAsync(cancellationToken);
        return [.. text.Split('\n').Select(Remark).OfType<Remark>().Distinct()];
    }

    private static Remark? Remark(string line)
    {
        Match match = Line().Match(line);
        if (!match.Success)
        {
            return line.StartsWith("Error", StringComparison.Ordinal) ? new Remark("", true, line) : null;
        }

        string path = string.Join('.', Step().Matches(match.Groups["path"].Value).Select(step => step.Groups["keyword"].Value));
        return new Remark(path, match.Groups["level"].Value == "Error", Told().Replace(match.Groups["text"].Value.TrimEnd('\r'), "<...>"));
    }

    [GeneratedRegex(@"^(?<level>Error|Warning) - <(?<path>/[^>]*)> - (?<text>.*)$")]
    private static partial Regex Line();

    [GeneratedRegex(@"/(?<keyword>[A-Za-z0-9]+)\(")]
    private static partial Regex Step();

    [GeneratedRegex("<[^>]*>|'.*'.*$")]
    private static partial Regex Told();
}

/// <summary>A line of dciodvfy, without values.</summary>
internal sealed record Remark(string Path, bool IsError, string Text);
