using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>The running service under kills alone: 40 by default; a thousand take about a quarter of an hour. See <see cref="KilledSite"/>.</summary>
public sealed class KilledServiceTests
{
    [Fact]
    public async Task However_often_the_service_is_killed_nothing_is_lost_doubled_released_early_or_left_open()
    {
        await using KilledSite site = await KilledSite.StartAsync(40);

        await site.KillAsync();

        await site.AssertItComesToRestAsync();
    }
}
