using System.Globalization;
using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>What is written comes back: values of every representation from a seeded generator.</summary>
public sealed class DataSetRoundTripTests
{
    private const int Rounds = 2_000;
    private static readonly Tag At = new(0x0009, 0x1001);

    private static readonly string[] Letters =
        ["A", "z", "0", "-", " b", "ü", "Ł", "Я", "山", "홍", "\U00020BB7", "e\u0301", "‹", "?"];

    [Fact]
    public void Text_of_every_representation_comes_back()
    {
        var random = new Random(1);
        foreach (Vr vr in Enum.GetValues<Vr>().Where(vr => vr.IsText()))
        {
            for (int round = 0; round < Rounds / 10; round++)
            {
                string[] values = [.. Enumerable.Range(0, vr.IsSingleText() ? 1 : random.Next(1, 5)).Select(_ => Value(vr, random))];
                var set = new DataSet();

                set.Set(At, vr, values);

                Assert.Equal(values is [""] ? [] : values, set.GetStrings(At));
                Assert.All(values, value => Assert.Null(ValueRules.Flaw(vr, value)));
                Assert.Equal(values.Any(value => value.Any(one => one > 0x7E)), set.CharacterSet.IsUtf8);
            }
        }
    }

    [Theory]
    [InlineData(Vr.US, 0, ushort.MaxValue)]
    [InlineData(Vr.SS, short.MinValue, short.MaxValue)]
    [InlineData(Vr.UL, 0, uint.MaxValue)]
    [InlineData(Vr.SL, int.MinValue, int.MaxValue)]
    [InlineData(Vr.UV, 0, long.MaxValue)]
    [InlineData(Vr.SV, long.MinValue, long.MaxValue)]
    [InlineData(Vr.AT, 0, uint.MaxValue)]
    [InlineData(Vr.OB, 0, byte.MaxValue)]
    [InlineData(Vr.OW, 0, ushort.MaxValue)]
    [InlineData(Vr.OL, 0, uint.MaxValue)]
    [InlineData(Vr.OV, 0, long.MaxValue)]
    [InlineData(Vr.IS, int.MinValue, int.MaxValue)]
    public void Whole_numbers_come_back_and_no_others_go_in(Vr vr, long low, long high)
    {
        var random = new Random(2);
        var set = new DataSet();
        for (int round = 0; round < Rounds; round++)
        {
            long[] values = [low, high, .. Enumerable.Range(0, random.Next(4)).Select(_ => random.NextInt64(low, high))];
            set.SetInt(At, vr, values);
            Assert.Equal(values, set.GetInt64s(At));
        }

        Assert.True(low == long.MinValue || Record.Exception(() => set.SetInt(At, vr, low - 1)) is ValueException);
        Assert.True(high == long.MaxValue || Record.Exception(() => set.SetInt(At, vr, high + 1)) is ValueException);
    }

    [Fact]
    public void The_greatest_number_without_sign_comes_back()
    {
        Tag extendedOffsetTable = new(0x0008, 0x040C); // File Offset in Container, UV
        var set = new DataSet();
        set.SetUInt64(extendedOffsetTable, ulong.MaxValue);

        Assert.Equal([ulong.MaxValue], set.GetUInt64s(extendedOffsetTable));
        Assert.Null(set.GetInt64(extendedOffsetTable));
    }

    [Theory]
    [InlineData(Vr.FD)]
    [InlineData(Vr.OD)]
    [InlineData(Vr.FL)]
    [InlineData(Vr.OF)]
    public void Fractions_come_back(Vr vr)
    {
        var random = new Random(3);
        var set = new DataSet();
        for (int round = 0; round < Rounds; round++)
        {
            double[] values = [.. Enumerable.Range(1, random.Next(1, 4)).Select(_ => (double)(float)((random.NextDouble() - 0.5) * 1e6))];
            set.SetDouble(At, vr, values);
            Assert.Equal(values, set.GetDoubles(At));
        }

        set.SetDouble(At, vr, double.NaN, double.NegativeInfinity);
        Assert.Equal([double.NaN, double.NegativeInfinity], set.GetDoubles(At));
    }

    [Fact]
    public void Bytes_of_one_and_minus_two_are_little_endian()
    {
        var set = new DataSet();
        set.SetInt(At, Vr.SS, 1, -2);
        Assert.Equal("0100FEFF", Convert.ToHexString(set.GetBytes(At).Span)); // 0001H, FFFEH
        set.SetInt(At, Vr.UV, 1);
        Assert.Equal("0100000000000000", Convert.ToHexString(set.GetBytes(At).Span));
        set.SetDouble(At, Vr.FL, 1.0);
        Assert.Equal("0000803F", Convert.ToHexString(set.GetBytes(At).Span)); // IEEE 754: 3F800000H
    }

    private static string Value(Vr vr, Random random) => vr switch
    {
        Vr.AE => Pick(random, 16, "A", "b", "1", "_", "-"),
        Vr.AS => random.Next(1000).ToString("000", CultureInfo.InvariantCulture) + "DWMY"[random.Next(4)],
        Vr.CS => Pick(random, 16, "A", "Z", "0", "9", "_", "B C"),
        Vr.DA => Moment(random).ToString("yyyyMMdd", CultureInfo.InvariantCulture),
        Vr.DS => DecimalText.Format((random.NextDouble() - 0.5) * Math.Pow(10, random.Next(-20, 20))),
        Vr.DT => DicomDateTime.From(new DateTimeOffset(Moment(random), TimeSpan.FromMinutes(random.Next(-720, 841)))).ToString(),
        Vr.IS => random.Next(int.MinValue, int.MaxValue).ToString(CultureInfo.InvariantCulture),
        Vr.PN => PersonName.Parse(string.Join('^', Enumerable.Range(0, random.Next(1, 6)).Select(_ => Pick(random, 10, Letters)))).ToString(),
        Vr.TM => DicomTime.From(TimeOnly.FromDateTime(Moment(random))).ToString(),
        Vr.UI => Uids.FromUuid(new Guid(Enumerable.Range(0, 16).Select(_ => (byte)random.Next(256)).ToArray())),
        Vr.UR => "https://example.org/" + Pick(random, 50, "a", "/", "%20", "?"),
        Vr.LT or Vr.ST or Vr.UT => Pick(random, 200, [.. Letters, "\\", "\r\n", "\t"]) + ".",
        _ => Pick(random, 16, Letters),
    };

    private static DateTime Moment(Random random) => new(random.NextInt64(new DateTime(1900, 1, 1).Ticks, new DateTime(2100, 1, 1).Ticks));

    /// <summary>At least one and at most so many characters, with no space at either end.</summary>
    private static string Pick(Random random, int most, params string[] pieces)
    {
        string text = "";
        int length = random.Next(1, most + 1);
        while (text.EnumerateRunes().Count() is var count && count < length)
        {
            string piece = pieces[random.Next(pieces.Length)];
            text += count + piece.EnumerateRunes().Count() > most ? "A" : piece;
        }

        string trimmed = text.Trim(' ');
        return trimmed.Length == 0 ? "A" : trimmed;
    }
}
