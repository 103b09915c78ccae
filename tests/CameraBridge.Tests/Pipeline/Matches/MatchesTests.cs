using Xunit;

namespace CameraBridge.Tests.Pipeline.Matches;

/// <summary>What tests of matches stand on: a state that is open from the start.</summary>
public abstract class MatchesTests(DateTimeOffset now) : StageTests(now), IAsyncLifetime
{
    public async ValueTask InitializeAsync() => await OpenAsync();
}
