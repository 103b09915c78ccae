using System.Globalization;

namespace CameraBridge.Configuration;

/// <summary>Reads one written value.</summary>
internal delegate ValueFault? ReadValue<T>(string text, out T value);

/// <summary>What reading a file gave besides its values: every problem, every setting in force and where each stands.</summary>
internal sealed class SettingLog(string file)
{
    private readonly Dictionary<string, (YamlPart Part, string Value)> _places = new(StringComparer.Ordinal);

    public List<ConfigurationProblem> Problems { get; } = [];

    public List<EffectiveSetting> Settings { get; } = [];

    public void Report(YamlPart? part, string key, string value, ValueFault fault) =>
        Problems.Add(new ConfigurationProblem(file, part?.Line ?? 0, part?.Column ?? 0, key, fault.IsSecret ? "(not shown)" : value, fault.What, fault.Fix));

    /// <summary>Reports a setting that is well written but does not go with another one.</summary>
    public void ReportAt(string key, ValueFault fault)
    {
        (YamlPart? part, string value) = _places.TryGetValue(key, out (YamlPart Part, string Value) place) ? place : (null, "");
        Report(part, key, value, fault);
    }

    /// <summary>True when the setting stands in the file.</summary>
    public bool Knows(string key) => _places.ContainsKey(key);

    public void Note(string key, string value, YamlPart? part)
    {
        Settings.Add(new EffectiveSetting(key, value, part?.Line));
        if (part is not null)
        {
            _places[key] = (part, value);
        }
    }
}

/// <summary>One map of the file: asked key by key, and at the end for what nobody asked for.</summary>
internal sealed class SettingReader
{
    private readonly SettingLog _log;
    private readonly YamlPart? _place;
    private readonly string _path;
    private readonly Dictionary<string, YamlEntry> _entries = new(StringComparer.Ordinal);
    private readonly List<string> _asked = [];
    private readonly bool _broken;

    /// <param name="log">Takes problems and settings.</param>
    /// <param name="path">Path of this map; empty for the root.</param>
    /// <param name="part">The map, or null where the file has none: then every key has its default.</param>
    /// <param name="absent">Where the fault lies when a needed key is missing and there is no map.</param>
    public SettingReader(SettingLog log, string path, YamlPart? part, YamlPart? absent = null)
    {
        _log = log;
        _path = path;
        _place = part ?? absent;
        if (part is YamlMap map)
        {
            foreach (YamlEntry entry in map.Entries)
            {
                if (!_entries.TryAdd(entry.Key.Value, entry))
                {
                    string first = _entries[entry.Key.Value].Key.Line.ToString(CultureInfo.InvariantCulture);
                    _log.Report(entry.Key, PathOf(entry.Key.Value), "", new ValueFault($"stands here a second time, the first is in line {first}", "Remove one of the two."));
                }
            }
        }
        else if (part is not null and not YamlText { IsEmpty: true })
        {
            _broken = true;
            _log.Report(part, _path, part is YamlText text ? text.Value : "", new ValueFault("must hold settings of its own", "Write them below it, indented, as key: value."));
        }
    }

    public string PathOf(string key) => _path.Length == 0 ? key : $"{_path}.{key}";

    /// <summary>True when the key stands there with something after it.</summary>
    public bool Has(string key) => _entries.TryGetValue(key, out YamlEntry? entry) && entry.Value is not YamlText { IsEmpty: true };

    /// <summary>True when settings of its own stand below the key.</summary>
    public bool HasMap(string key) => Has(key) && _entries[key].Value is YamlMap;

    /// <summary>True when the key stands there, which is known here; for a key that is worth a default only where the file has it.</summary>
    public bool Asks(string key) => Find(key, out _);

    /// <summary>Values that have a default: a list of them, or the only one. An empty list is none.</summary>
    public IReadOnlyList<T> Many<T>(string key, IReadOnlyList<T> fallback, ReadValue<T> read, Func<T, string> write)
    {
        if (!Find(key, out YamlPart? part))
        {
            _log.Note(PathOf(key), string.Join(", ", fallback.Select(write)), null);
            return fallback;
        }

        List<T> values = [];
        bool whole = true;
        foreach (YamlPart one in part is YamlList list ? list.Items : [part])
        {
            ValueFault? fault = one is YamlText text && read(text.Value, out T value) is var wrong
                ? wrong ?? Keep(value)
                : new ValueFault("is no single value", $"Write {key}: [one, another].");
            if (fault is not null)
            {
                whole = false;
                _log.Report(one, PathOf(key), one is YamlText written ? written.Value : "", fault);
            }
        }

        if (whole)
        {
            _log.Note(PathOf(key), string.Join(", ", values.Select(write)), part);
        }

        return whole ? values : fallback;

        ValueFault? Keep(T value)
        {
            values.Add(value);
            return null;
        }
    }

    /// <summary>A value that has a default.</summary>
    public T Get<T>(string key, T fallback, ReadValue<T> read, Func<T, string> write)
    {
        if (!Find(key, out YamlPart? part))
        {
            _log.Note(PathOf(key), write(fallback), null);
            return fallback;
        }

        return Read(key, part, read, write, out T value) ? value : fallback;
    }

    /// <summary>A value that the file must give. When it does not, that is a problem, and what is returned is of no use.</summary>
    public T Need<T>(string key, T useless, string why, ReadValue<T> read, Func<T, string> write)
    {
        if (!Find(key, out YamlPart? part))
        {
            // A map that is none has been reported as such; that its keys are missing would only be noise.
            if (!_broken)
            {
                _log.Report(_entries.TryGetValue(key, out YamlEntry? empty) ? empty.Key : _place, PathOf(key), "", new ValueFault("is missing", why));
            }

            return useless;
        }

        return Read(key, part, read, write, out T value) ? value : useless;
    }

    /// <summary>The map below a key; where there is none, one that has only defaults.</summary>
    public SettingReader Map(string key)
    {
        _ = Find(key, out YamlPart? part);
        return new SettingReader(_log, PathOf(key), part, _place);
    }

    /// <summary>The maps of the list below a key.</summary>
    public IReadOnlyList<T> List<T>(string key, Func<SettingReader, T> read)
    {
        if (!Find(key, out YamlPart? part))
        {
            return [];
        }

        if (part is not YamlList list)
        {
            _log.Report(part, PathOf(key), part is YamlText text ? text.Value : "", new ValueFault("must be a list", "Begin each entry with '- ', indented below the key."));
            return [];
        }

        List<T> items = [];
        foreach (YamlPart item in list.Items)
        {
            SettingReader reader = new(_log, string.Create(CultureInfo.InvariantCulture, $"{PathOf(key)}[{items.Count + 1}]"), item);
            items.Add(read(reader));
            reader.Done();
        }

        return items;
    }

    /// <summary>The maps of the list below a key, or the one map that stands there without a list.</summary>
    public IReadOnlyList<T> OneOrMore<T>(string key, Func<SettingReader, T> read)
    {
        if (!HasMap(key))
        {
            return List(key, read);
        }

        SettingReader only = Map(key);
        T item = read(only);
        only.Done();
        return [item];
    }

    /// <summary>A list that must have an entry.</summary>
    public IReadOnlyList<T> NeedList<T>(string key, string why, Func<SettingReader, T> read)
    {
        IReadOnlyList<T> items = List(key, read);
        if (items.Count == 0 && !_broken)
        {
            _log.Report(_entries.TryGetValue(key, out YamlEntry? empty) ? empty.Key : _place, PathOf(key), "", new ValueFault("is missing", why));
        }

        return items;
    }

    /// <summary>Reports every key that is not one of those asked for.</summary>
    public void Done()
    {
        foreach ((string key, YamlEntry entry) in _entries)
        {
            if (!_asked.Contains(key))
            {
                string? nearest = NearestWord.Of(key, _asked);
                _log.Report(
                    entry.Key,
                    PathOf(key),
                    entry.Value is YamlText text ? text.Value : "",
                    new ValueFault("is no setting here", nearest is null ? $"Settings here are {string.Join(", ", _asked)}." : $"Did you mean {nearest}?"));
            }
        }
    }

    private bool Find(string key, [System.Diagnostics.CodeAnalysis.NotNullWhen(true)] out YamlPart? part)
    {
        _asked.Add(key);
        part = Has(key) ? _entries[key].Value : null;
        return part is not null;
    }

    private bool Read<T>(string key, YamlPart part, ReadValue<T> read, Func<T, string> write, out T value)
    {
        if (part is not YamlText text)
        {
            value = default!;
            _log.Report(part, PathOf(key), "", new ValueFault($"is a {(part is YamlList ? "list" : "group of settings")}, and one value belongs here", "Write it as key: value."));
            return false;
        }

        if (read(text.Value, out value) is { } fault)
        {
            _log.Report(text, PathOf(key), text.Value, fault);
            return false;
        }

        _log.Note(PathOf(key), write(value), text);
        return true;
    }
}
