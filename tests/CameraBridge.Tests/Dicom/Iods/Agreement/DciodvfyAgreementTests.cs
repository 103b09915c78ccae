using System.Collections.Concurrent;
using System.Globalization;
using CameraBridge.Dicom.Iods;
using CameraBridge.Dicom.Part10;
using CameraBridge.Tests.Meta;
using Xunit;

namespace CameraBridge.Tests.Dicom.Iods.Agreement;

/// <summary>
/// Our check beside dciodvfy (dicom3tools, Debian's of 2022-06) on right objects of all six classes and on each with one thing spoiled, attribute
/// by attribute. What only one of the two calls an error is explained in conformance/agreement.md, row by row, with the section that decides.
/// </summary>
public sealed class DciodvfyAgreementTests
{
    [Fact]
    public async Task Right_objects_of_all_six_classes_have_no_error_of_either_judge()
    {
        OutsideJudge.Require();
        DirectoryInfo folder = Directory.CreateTempSubdirectory("camerabridge-agreement");
        foreach (SoundObject sound in SoundObjects.All)
        {
            string file = Path.Combine(folder.FullName, $"{sound.Name}.dcm");
            IReadOnlyList<Remark> theirs = await OutsideJudge.JudgeAsync(sound.Make(), sound.Syntax, file, TestContext.Current.CancellationToken);

            Assert.DoesNotContain(theirs, remark => remark.IsError);
            Assert.True(FileCheck.Check(Part10File.Open(file), withBitstream: false).Conforms, sound.Name);
        }

        folder.Delete(recursive: true);
    }

    [Fact]
    public async Task Every_disagreement_on_the_mutated_objects_is_explained_and_every_explanation_is_needed()
    {
        OutsideJudge.Require();
        var told = new Told();
        DirectoryInfo folder = Directory.CreateTempSubdirectory("camerabridge-agreement");
        await Parallel.ForEachAsync(
            Mutations.All(), new ParallelOptions { MaxDegreeOfParallelism = Environment.ProcessorCount, CancellationToken = TestContext.Current.CancellationToken },
            async (mutation, cancellation) => await CompareAsync(mutation, folder.FullName, told, cancellation));
        folder.Delete(recursive: true);

        AgreementTable table = AgreementTable.Read(Path.Combine(Repository.Root, "conformance", "agreement.md"));
        string[] unexplained = [.. told.Alone.Where(one => table.Rows.Count(row => row.Explains(one)) != 1).Select(one => one.ToString()).Distinct()];
        Assert.True(unexplained.Length == 0, $"Not explained by exactly one row of conformance/agreement.md:\n{string.Join('\n', unexplained)}");
        string[] wrong =
        [
            .. table.Rows.Select(row => (Row: row, Count: told.Alone.Count(row.Explains))).Where(pair => pair.Count != pair.Row.Times)
                .Select(pair => string.Create(CultureInfo.InvariantCulture, $"{pair.Row.Who}, {pair.Row.Told}, {pair.Row.Attribute}: {pair.Count} times, not {pair.Row.Times}")),
        ];
        Assert.True(wrong.Length == 0, $"conformance/agreement.md is not true any more:\n{string.Join('\n', wrong)}");

        // What the issue of this comparison asks: 600 objects or more.
        Assert.True(told.Objects >= 600);
        Assert.Equal(
            (told.Objects, told.Both, told.Alone.Count(one => one.Who == AgreementRow.Ours), told.Alone.Count(one => one.Who == AgreementRow.Theirs)),
            (table.Objects, table.Both, table.OursAlone, table.TheirsAlone));
    }

    private static async Task CompareAsync(Mutation mutation, string folder, Told told, CancellationToken cancellation)
    {
        int number = told.CountObject();
        string file = Path.Combine(folder, string.Create(CultureInfo.InvariantCulture, $"{number}.dcm"));
        IReadOnlyList<Remark> remarks = await OutsideJudge.JudgeAsync(mutation.DataSet, mutation.Of.Syntax, file, cancellation);
        IReadOnlyList<Finding> findings = FileCheck.Check(Part10File.Open(file), withBitstream: false).Findings;
        File.Delete(file);

        var theirs = remarks.Where(remark => remark.IsError).GroupBy(remark => remark.Path).ToDictionary(group => group.Key, group => Join(group.Select(remark => remark.Text)));
        var ours = findings.Where(finding => finding.Severity == Severity.Error)
            .GroupBy(finding => AgreementRow.WithoutNumbers(finding.Path)).ToDictionary(group => group.Key, group => Join(group.Select(finding => finding.Rule)));
        foreach (string attribute in ours.Keys.Union(theirs.Keys))
        {
            if (!theirs.TryGetValue(attribute, out string? theirText))
            {
                told.Add(new LoneTold(AgreementRow.Ours, ours[attribute], attribute, mutation.How(attribute)));
            }
            else if (!ours.ContainsKey(attribute))
            {
                told.Add(new LoneTold(AgreementRow.Theirs, theirText, attribute, mutation.How(attribute)));
            }
            else
            {
                told.CountBoth();
            }
        }
    }

    private static string Join(IEnumerable<string> texts) => string.Join(" + ", texts.Distinct().Order(StringComparer.Ordinal));

    /// <summary>What came of the comparison.</summary>
    private sealed class Told
    {
        private readonly ConcurrentBag<LoneTold> alone = [];
        private int objects;
        private int both;

        public int Objects => objects;

        public int Both => both;

        public IReadOnlyCollection<LoneTold> Alone => alone;

        public int CountObject() => Interlocked.Increment(ref objects);

        public void CountBoth() => Interlocked.Increment(ref both);

        public void Add(LoneTold one) => alone.Add(one);
    }
}
