using CameraBridge.Commands;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Commands;

public sealed class ProgressTests : IDisposable
{
    private readonly StringWriter _error = new();
    private readonly FakeTimeProvider _clock = new();

    public void Dispose() => _error.Dispose();

    [Fact]
    public void A_bar_is_drawn_on_a_terminal_and_wiped_at_the_end()
    {
        using (Progress progress = new(new Terminal(TextWriter.Null, _error, Interactive: true), "Drawing", 10, _clock))
        {
            progress.Report(5);
            Assert.Equal("\rDrawing [###############...............] 5/10", _error.ToString());
        }

        Assert.EndsWith($"\r{new string(' ', 45)}\r", _error.ToString(), StringComparison.Ordinal);
    }

    [Fact]
    public void It_is_not_drawn_more_often_than_an_eye_can_follow_but_always_when_done()
    {
        using Progress progress = new(new Terminal(TextWriter.Null, _error, Interactive: true), "Drawing", 10, _clock);
        _clock.Advance(TimeSpan.FromSeconds(1));
        progress.Report(1);
        progress.Report(2);
        Assert.DoesNotContain("2/10", _error.ToString(), StringComparison.Ordinal);
        _clock.Advance(TimeSpan.FromMilliseconds(100));
        progress.Report(3);
        progress.Report(10);
        Assert.Contains("3/10", _error.ToString(), StringComparison.Ordinal);
        Assert.Contains("10/10", _error.ToString(), StringComparison.Ordinal);
    }

    [Fact]
    public void Where_nobody_looks_nothing_is_drawn()
    {
        using (Progress progress = new(new Terminal(TextWriter.Null, _error, Interactive: false), "Drawing", 10, _clock))
        {
            progress.Report(5);
        }

        Assert.Equal("", _error.ToString());
    }
}
