using System.Globalization;
using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>DS has sixteen bytes: PS3.5 section 6.2, edition 2025e.</summary>
public sealed class DecimalTextTests
{
    [Theory]
    [InlineData(0.0, "0")]
    [InlineData(1.5, "1.5")]
    [InlineData(-0.25, "-0.25")]
    [InlineData(0.1, "0.1")]
    [InlineData(Math.PI, "3.14159265358979")]
    [InlineData(-Math.PI, "-3.1415926535898")]
    [InlineData(1.0 / 3e10, "3.3333333333E-11")]
    [InlineData(123456789012345680.0, "1.23456789012E17")]
    public void Numbers_are_as_short_as_they_can_be_or_as_near_as_sixteen_bytes_allow(double number, string text) =>
        Assert.Equal(double.Parse(text, CultureInfo.InvariantCulture), double.Parse(DecimalText.Format(number), CultureInfo.InvariantCulture), Math.Abs(number) * 1e-10);

    [Fact]
    public void Any_number_fits_and_stays_near()
    {
        var random = new Random(16);
        for (int round = 0; round < 2_000; round++)
        {
            double number = BitConverter.Int64BitsToDouble(random.NextInt64(long.MinValue, long.MaxValue));
            // Below lie the denormals, which have fewer digits than a double else.
            if (!double.IsFinite(number) || Math.Abs(number) < 2.3e-308)
            {
                continue;
            }

            string text = DecimalText.Format(number);
            Assert.Null(ValueRules.Flaw(Vr.DS, text));
            Assert.Equal(1, double.Parse(text, CultureInfo.InvariantCulture) / number, 1e-8);
        }
    }

    [Fact]
    public void Any_decimal_fits_and_a_short_one_is_exact()
    {
        Assert.Equal("1.1", DecimalText.Format(1.10m));
        Assert.Equal("-12345678901.234", DecimalText.Format(-12345678901.234m));
        Assert.Null(ValueRules.Flaw(Vr.DS, DecimalText.Format(decimal.MaxValue)));
        Assert.Null(ValueRules.Flaw(Vr.DS, DecimalText.Format(0.0000000000000000000000000001m)));
        Assert.Null(ValueRules.Flaw(Vr.DS, DecimalText.Format(-1234567890.12345678901234m)));
    }

    [Fact]
    public void Infinity_has_no_text() => Assert.Throws<ArgumentOutOfRangeException>(() => DecimalText.Format(double.PositiveInfinity));
}
