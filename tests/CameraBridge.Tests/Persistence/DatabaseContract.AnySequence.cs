using Xunit;

namespace CameraBridge.Tests.Persistence;

/// <summary>Properties over the stage table.</summary>
public abstract partial class DatabaseContract
{
    [Theory]
    [InlineData(1)]
    [InlineData(20261125)]
    [InlineData(77)]
    public async Task From_any_state_any_sequence_of_events_keeps_the_rules_and_what_is_left_can_be_finished(int seed)
    {
        const int Steps = 450;
        await using AnySequence walk = new(owner => OpenAsync(owner), Clock, seed);

        await walk.WalkAsync(Steps);
        await walk.DrainAsync();

        Assert.True(walk.Objects > 20, $"only {walk.Objects} objects were made");
        Assert.True(walk.Overtaken > 0, "no worker was ever overtaken");
    }
}
