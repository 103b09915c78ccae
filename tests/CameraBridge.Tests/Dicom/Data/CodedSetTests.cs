using System.Diagnostics;
using System.Globalization;
using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>Every code of every set, against the codecs of Python, which were made from other tables than the framework's code pages.</summary>
public sealed class CodedSetTests
{
    private const string Python = "/usr/bin/python3";

    // One line a set: its name, then the code points of all its codes in order, 0 where the codec has none.
    private const string Script = """
        def point(data, codec):
            try:
                text = data.decode(codec)
            except UnicodeDecodeError:
                return 0
            return ord(text) if len(text) == 1 else 0
        rows = range(0x21, 0x7F)
        def pairs(name, codec, lead):
            print(name, *(point(lead + bytes([row | 0x80, cell | 0x80]), codec) for row in rows for cell in rows))
        pairs('JIS X 0208', 'euc_jp', b'')
        pairs('JIS X 0212', 'euc_jp', b'\x8f')
        pairs('KS X 1001', 'euc_kr', b'')
        pairs('GB 2312', 'gb2312', b'')
        for part in (1, 2, 3, 4, 5, 6, 7, 8, 9, 15):
            print('ISO 8859-%d' % part, *(point(bytes([code | 0x80]), 'iso8859-%d' % part) for code in rows))
        print('TIS 620-2533', *(point(bytes([code | 0x80]), 'tis-620') for code in rows))
        """;

    // What the codec has otherwise, on purpose: a tilde that would be ASCII, and two signs where GB 18030 and GBK, the later standards, decided.
    private static readonly HashSet<(string Set, int Code)> Known = [("JIS X 0212", 0x2237), ("GB 2312", 0x2124), ("GB 2312", 0x212A)];

    [Fact]
    public void All_tables_agree_with_an_independent_codec()
    {
        Assert.SkipUnless(File.Exists(Python), "Python 3 of Debian (apt-get install python3) is the independent codec of this test.");
        CodedSet[] sets =
        [
            CodedSet.Kanji, CodedSet.SupplementaryKanji, CodedSet.Hangul, CodedSet.Hanzi, CodedSet.Latin1, CodedSet.Latin2, CodedSet.Latin3, CodedSet.Latin4,
            CodedSet.Cyrillic, CodedSet.Arabic, CodedSet.Greek, CodedSet.Hebrew, CodedSet.Latin5, CodedSet.Latin9, CodedSet.Thai,
        ];
        using Process process = Process.Start(new ProcessStartInfo(Python, ["-c", Script]) { RedirectStandardOutput = true })!;
        string[] lines = process.StandardOutput.ReadToEnd().Split('\n', StringSplitOptions.RemoveEmptyEntries);
        process.WaitForExit();
        Assert.Equal(sets.Length, lines.Length);

        var differences = new List<string>();
        foreach ((CodedSet set, string line) in sets.Zip(lines))
        {
            Assert.StartsWith(set.Name + " ", line, StringComparison.Ordinal);
            int[] points = [.. line[(set.Name.Length + 1)..].Split(' ').Select(text => int.Parse(text, CultureInfo.InvariantCulture))];
            for (int at = 0; at < points.Length; at++)
            {
                int code = set.BytesPerCharacter == 2 ? ((0x21 + (at / 94)) << 8) + 0x21 + (at % 94) : 0x21 + at;
                int own = set.BytesPerCharacter == 2 ? set[code >> 8, code & 0xFF] : set[code];
                if (points[at] != 0 && own != points[at] && !Known.Contains((set.Name, code)))
                {
                    differences.Add(string.Create(CultureInfo.InvariantCulture, $"{set.Name} {code:X4}: {own:X4}, not {points[at]:X4}"));
                }
            }
        }

        Assert.Empty(differences);
    }

    // Characters of each standard: 6,879 in JIS X 0208:1990, 6,067 in JIS X 0212:1990, 8,224 in KS X 1001:1992, 7,445 in GB 2312-80 (from memory); the code pages
    // have some vendors' characters besides.
    [Fact]
    public void No_table_has_fewer_characters_than_its_standard()
    {
        Assert.InRange(Count(CodedSet.Kanji), 6879, 7400);
        Assert.InRange(Count(CodedSet.SupplementaryKanji), 6067, 6200);
        Assert.InRange(Count(CodedSet.Hangul), 8224, 8300);
        Assert.InRange(Count(CodedSet.Hanzi), 7445, 7500);
    }

    private static int Count(CodedSet set) => Enumerable.Range(0, 94 * 94).Count(at => set[0x21 + (at / 94), 0x21 + (at % 94)] != '\0');
}
