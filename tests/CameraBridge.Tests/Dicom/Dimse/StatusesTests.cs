using CameraBridge.Dicom.Dimse;
using Xunit;

namespace CameraBridge.Tests.Dicom.Dimse;

/// <summary>The status table: PS3.4 Table B.2-1 (edition 2016c), PS3.4 Table K.4-1 and PS3.7 Annex C (from memory).</summary>
public sealed class StatusesTests
{
    [Theory]
    [InlineData(0x0000, StatusClass.Success, StatusAdvice.Done)]
    [InlineData(0xA700, StatusClass.Failure, StatusAdvice.Later)]
    [InlineData(0xA7FF, StatusClass.Failure, StatusAdvice.Later)]
    [InlineData(0xA900, StatusClass.Failure, StatusAdvice.Never)]
    [InlineData(0xA9AB, StatusClass.Failure, StatusAdvice.Never)]
    [InlineData(0xC000, StatusClass.Failure, StatusAdvice.Never)]
    [InlineData(0xCFFF, StatusClass.Failure, StatusAdvice.Never)]
    [InlineData(0xB000, StatusClass.Warning, StatusAdvice.Done)]
    [InlineData(0xB006, StatusClass.Warning, StatusAdvice.Done)]
    [InlineData(0xB007, StatusClass.Warning, StatusAdvice.Done)]
    [InlineData(0x0111, StatusClass.Failure, StatusAdvice.Ask)]
    [InlineData(0x0122, StatusClass.Failure, StatusAdvice.Never)]
    [InlineData(0x0124, StatusClass.Failure, StatusAdvice.Never)]
    [InlineData(0x0211, StatusClass.Failure, StatusAdvice.Never)]
    [InlineData(0x0213, StatusClass.Failure, StatusAdvice.Later)]
    public void A_store_is_judged_as_table_b_2_1_says(int status, StatusClass kind, StatusAdvice advice)
    {
        StatusEntry entry = Statuses.Find("C-STORE", (ushort)status);

        Assert.Equal((kind, advice), (entry.Class, entry.Advice));
    }

    [Theory]
    [InlineData(0x0000, StatusClass.Success)]
    [InlineData(0xFF00, StatusClass.Pending)]
    [InlineData(0xFF01, StatusClass.Pending)]
    [InlineData(0xFE00, StatusClass.Cancel)]
    [InlineData(0xA700, StatusClass.Failure)]
    [InlineData(0xA900, StatusClass.Failure)]
    [InlineData(0xC001, StatusClass.Failure)]
    public void A_query_is_judged_as_table_k_4_1_says(int status, StatusClass kind) => Assert.Equal(kind, Statuses.Find("C-FIND", (ushort)status).Class);

    [Fact]
    public void Every_status_there_can_be_has_a_row_and_nothing_unknown_is_a_success()
    {
        for (int status = 0; status <= 0xFFFF; status++)
        {
            StatusEntry entry = Statuses.Find("C-STORE", (ushort)status);
            if (status != 0)
            {
                Assert.NotEqual(StatusClass.Success, entry.Class);
            }
        }
    }

    [Fact]
    public void Every_row_cites_its_source_and_can_be_reached()
    {
        Assert.All(Statuses.All, entry => Assert.NotEmpty(entry.Source));
        foreach (StatusEntry entry in Statuses.All)
        {
            string service = entry.Service == "any" ? "N-DELETE" : entry.Service;
            ushort status = Convert.ToUInt16(entry.Code.Replace('x', '9'), 16);
            Assert.Equal(entry, Statuses.Find(service, status));
        }
    }

    [Fact]
    public void A_reply_is_told_without_its_comment()
    {
        DimseReply reply = new("C-STORE", 0xA700, "Doe^Jane", []);

        Assert.Equal("C-STORE A700: out of resources", reply.ToString());
    }
}
