using System.Text;
using CameraBridge.Pipeline.Sittings.Cues.Labels;
using CameraBridge.Tests.Peers;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings.Cues.Labels;

public sealed class CheckSchemeTests
{
    private const string Digits = "0123456789";
    private const string Letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ";

    /// <summary>Debian's python3-stdnum 1.18 checks one ID a line: "1" or "0".</summary>
    private const string Judge = """
        import sys
        from stdnum import luhn, ean
        from stdnum.gb import nhs
        from stdnum.iso7064 import mod_11_2, mod_37_2, mod_97_10, mod_11_10, mod_37_36
        schemes = {"luhn": luhn.is_valid, "gs1": lambda n: ean.calc_check_digit(n[:-1]) == n[-1], "nhs-number": nhs.is_valid, "iso7064-11-2": mod_11_2.is_valid,
            "iso7064-37-2": mod_37_2.is_valid, "iso7064-97-10": mod_97_10.is_valid, "iso7064-11-10": mod_11_10.is_valid, "iso7064-37-36": mod_37_36.is_valid}
        for line in open(sys.argv[1]):
            name, text = line.split()
            print(1 if schemes[name](text) else 0)
        """;

    // Published examples. NHS numbers: those that the NHS gives in its guidance as specimens, 943 476 5919 and 401 023 2137 (from memory; python3-stdnum 1.18 has the
    // first, too). Luhn: the account number of ISO/IEC 7812-1 in wide use, 7992739871 with check digit 3, and 49927398716. GS1: the worked examples of gs1.org
    // "How to calculate a check digit manually", 629104150021 with 3 and 37610425002123456 with 9. ISO/IEC 7064:2003, the examples of its sections on each system
    // (from memory; those of 11-2, 37-2, 97-10, 11-10 also in python3-stdnum 1.18): 0794 with 0, 079 with X, G123489654321 with Y, 794 with 44, 0794 with 5.
    // 37-36: the Global Release Identifier A12425GABC1234002 with M, which that standard's users publish.
    [Theory]
    [InlineData("nhs-number", "9434765919")]
    [InlineData("nhs-number", "4010232137")]
    [InlineData("luhn", "79927398713")]
    [InlineData("luhn", "49927398716")]
    [InlineData("gs1", "6291041500213")]
    [InlineData("gs1", "376104250021234569")]
    [InlineData("iso7064-11-2", "07940")]
    [InlineData("iso7064-11-2", "079X")]
    [InlineData("iso7064-37-2", "G123489654321Y")]
    [InlineData("iso7064-97-10", "79444")]
    [InlineData("iso7064-661-26", "ISOHJTC")]
    [InlineData("iso7064-1271-36", "ISO793W")]
    [InlineData("iso7064-11-10", "07945")]
    [InlineData("iso7064-37-36", "A12425GABC1234002M")]
    public void A_published_example_keeps_its_scheme_and_no_single_wrong_character_does(string name, string id)
    {
        CheckScheme scheme = CheckScheme.Find(name)!;

        Assert.True(scheme.Holds(id));

        // Every scheme here is made to find each single wrong character (ISO/IEC 7064:2003 section 1; the others by their arithmetic).
        for (int i = 0; i < id.Length; i++)
        {
            foreach (char other in Digits + Letters + "*- ")
            {
                string wrong = id[..i] + other + id[(i + 1)..];
                Assert.True(wrong == id || !scheme.Holds(wrong), wrong);
            }
        }
    }

    [Theory]
    [InlineData("nhs-number", "943476591")]
    [InlineData("nhs-number", "94347659190")]
    // The sum leaves 1, so that the check digit would be ten: never given out (NHS Data Dictionary, NHS NUMBER).
    [InlineData("nhs-number", "1000000010")]
    [InlineData("luhn", "0")]
    [InlineData("luhn", "")]
    [InlineData("gs1", "0")]
    [InlineData("iso7064-11-2", "1")]
    [InlineData("iso7064-11-2", "X794")]
    [InlineData("iso7064-97-10", "01")]
    [InlineData("iso7064-11-10", "1")]
    [InlineData("iso7064-37-36", "")]
    public void Too_short_or_out_of_place_is_no_id(string name, string id) => Assert.False(CheckScheme.Find(name)!.Holds(id));

    [Fact]
    public async Task Every_id_is_judged_as_an_independent_library_judges_it()
    {
        OutsideProgram.RequireThat(File.Exists("/usr/lib/python3/dist-packages/stdnum/luhn.py"), "python3-stdnum");
        var random = new Random(7064);
        (string Scheme, string Id)[] ids = [.. Judged().SelectMany(scheme => Enumerable.Range(0, 2000).Select(_ => (scheme.Name, Draw(random, scheme.Characters, scheme.Length, scheme.Last))))];
        string file = Path.GetTempFileName();
        try
        {
            File.WriteAllLines(file, ids.Select(one => $"{one.Scheme} {one.Id}"), Encoding.ASCII);
            string said = await OutsideProgram.RunAsync(OutsideProgram.Python, "-c", Judge, file);

            string[] theirs = said.Split('\n', StringSplitOptions.RemoveEmptyEntries);
            Assert.Equal(ids.Length, theirs.Length);
            Assert.All(ids.Zip(theirs), one => Assert.Equal((one.First, one.Second == "1"), (one.First, CheckScheme.Find(one.First.Scheme)!.Holds(one.First.Id))));
            Assert.All(Judged(), scheme => Assert.Contains(ids.Zip(theirs), one => one.First.Scheme == scheme.Name && one.Second == "1"));
        }
        finally
        {
            File.Delete(file);
        }
    }

    [Fact]
    public void What_no_library_judges_finds_two_characters_that_changed_places()
    {
        // ISO/IEC 7064:2003 section 1: pure systems with two check characters find all such errors, hybrid ones nearly all: not M M+1 in their products.
        var random = new Random(26);
        foreach ((string name, string characters) in new[] { ("iso7064-661-26", Letters), ("iso7064-1271-36", Digits + Letters), ("iso7064-27-26", Letters) })
        {
            CheckScheme scheme = CheckScheme.Find(name)!;
            int held = 0;
            int missed = 0;
            for (int round = 0; round < 200_000 && held < 100; round++)
            {
                string id = Draw(random, characters, 8);
                if (!scheme.Holds(id))
                {
                    continue;
                }

                held++;
                for (int i = 1; i < id.Length; i++)
                {
                    string turned = id[..(i - 1)] + id[i] + id[i - 1] + id[(i + 1)..];
                    missed += turned != id && scheme.Holds(turned) ? 1 : 0;
                }
            }

            Assert.True(held >= 50, $"{name}: {held}");
            Assert.True(missed <= held / 10, $"{name}: {missed} of {held * 7} not found");
        }
    }

    private static (string Name, string Characters, string Last, int Length)[] Judged() =>
    [
        ("nhs-number", Digits, "", 10), ("luhn", Digits, "", 9), ("gs1", Digits, "", 18), ("iso7064-11-2", Digits, "X", 7), ("iso7064-37-2", Digits + Letters, "*", 8),
        ("iso7064-97-10", Digits, "", 9), ("iso7064-11-10", Digits, "", 8), ("iso7064-37-36", Digits + Letters, "", 9),
    ];

    /// <summary>A supplement stands at the end alone; elsewhere python3-stdnum lets it pass, which the standard does not.</summary>
    private static string Draw(Random random, string characters, int length, string last = "") =>
        new([.. Enumerable.Range(0, length - 1).Select(_ => characters[random.Next(characters.Length)]), (characters + last)[random.Next(characters.Length + last.Length)]]);
}
