using CameraBridge.Persistence;
using CameraBridge.Pipeline.Captures;

namespace CameraBridge.Commands;

/// <summary>The bar of <c>once</c>. Each file counts twice: when it lies in the spool, and when nothing is left to do for it.</summary>
internal sealed class OnceProgress(Terminal terminal, string source) : IProgress<SourceStatus>, IProgress<IReadOnlyList<OpenWork>>, IDisposable
{
    private readonly Progress _bar = new(terminal, source, 0);
    private readonly Lock _gate = new();
    private int _seen;
    private int _inSpool;
    private int _open;

    public void Report(SourceStatus value)
    {
        lock (_gate)
        {
            (_seen, _inSpool) = (value.Known + value.Waiting, value.Known);
            Draw();
        }
    }

    public void Report(IReadOnlyList<OpenWork> value)
    {
        lock (_gate)
        {
            _open = value.Sum(work => work.Due + work.Leased + work.Later);
            Draw();
        }
    }

    public void Dispose() => _bar.Dispose();

    private void Draw() =>
        _bar.Report(_inSpool + Math.Max(0, _inSpool - _open), 2L * _seen, FormattableString.Invariant($"{_inSpool} of {_seen} files safe, {_open} steps open"));
}
