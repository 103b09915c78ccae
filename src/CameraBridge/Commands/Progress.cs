using System.Globalization;

namespace CameraBridge.Commands;

/// <summary>A bar on the terminal's last line for work that takes long. Where nobody looks (a pipe, a log), nothing is drawn.</summary>
internal sealed class Progress(Terminal terminal, string what, long total, TimeProvider? clock = null) : IDisposable
{
    private const int BarWidth = 30;

    private static readonly TimeSpan DrawInterval = TimeSpan.FromMilliseconds(100);

    private readonly TimeProvider _clock = clock ?? TimeProvider.System;
    private readonly Lock _gate = new();
    private long _drawnAt;
    private int _drawnWidth;

    public void Report(int done) => Report(done, total, "");

    /// <param name="done">So much of it is done.</param>
    /// <param name="of">Of so much; it may grow while the work goes on.</param>
    /// <param name="note">What stands behind the bar.</param>
    public void Report(long done, long of, string note)
    {
        lock (_gate)
        {
            if (!terminal.Interactive || (_drawnAt != 0 && done < of && _clock.GetElapsedTime(_drawnAt) < DrawInterval))
            {
                return;
            }

            _drawnAt = _clock.GetTimestamp();
            int filled = of <= 0 ? 0 : (int)(BarWidth * Math.Min(done, of) / of);
            Draw(string.Create(CultureInfo.InvariantCulture, $"{what} [{new string('#', filled)}{new string('.', BarWidth - filled)}] {done}/{of}{(note.Length > 0 ? "  " + note : "")}"));
        }
    }

    /// <summary>Wipes the bar, so that what follows stands on a clean line.</summary>
    public void Dispose()
    {
        lock (_gate)
        {
            if (_drawnWidth > 0)
            {
                Draw("");
                terminal.Error.Write('\r');
            }
        }
    }

    private void Draw(string line)
    {
        terminal.Error.Write($"\r{line.PadRight(_drawnWidth)}");
        terminal.Error.Flush();
        _drawnWidth = line.Length;
    }
}
