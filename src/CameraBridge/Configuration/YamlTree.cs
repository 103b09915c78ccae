using YamlDotNet.Core;
using YamlDotNet.Core.Events;

namespace CameraBridge.Configuration;

/// <summary>A node of the configuration file with the place where it stands (1-based).</summary>
internal abstract record YamlPart(int Line, int Column);

internal sealed record YamlText(int Line, int Column, string Value, bool Quoted) : YamlPart(Line, Column)
{
    /// <summary>A key with nothing after it; the same as leaving the key out.</summary>
    public bool IsEmpty => !Quoted && Value.Length == 0;
}

internal sealed record YamlList(int Line, int Column, IReadOnlyList<YamlPart> Items) : YamlPart(Line, Column);

/// <summary>Entries in the order of the file, keys that come twice included, so that every one of them can be reported.</summary>
internal sealed record YamlMap(int Line, int Column, IReadOnlyList<YamlEntry> Entries) : YamlPart(Line, Column);

internal sealed record YamlEntry(YamlText Key, YamlPart Value);

/// <summary>
/// Reads YAML 1.2 text into <see cref="YamlPart"/>s. It stands on the parser's events and not on YamlDotNet's own nodes, since those give
/// up at the first key that comes twice.
/// </summary>
internal static class YamlTree
{
    /// <summary>The deepest nesting read. A configuration has five levels; a bracket bomb has thousands.</summary>
    private const int DeepestNesting = 32;

    /// <returns>The only document's root, or null when there is none (an empty file, comments only).</returns>
    /// <exception cref="YamlException">The text is no YAML, holds several documents or is nested too deep.</exception>
    public static YamlPart? Parse(string text)
    {
        using StringReader reader = new(text);
        Parser parser = new(reader);
        Dictionary<string, YamlPart> anchors = [];
        parser.Consume<StreamStart>();
        if (parser.TryConsume<StreamEnd>(out _))
        {
            return null;
        }

        parser.Consume<DocumentStart>();
        YamlPart root = ReadPart(parser, anchors, 0);
        parser.Consume<DocumentEnd>();
        if (parser.Accept<DocumentStart>(out DocumentStart? second))
        {
            throw new YamlException(second.Start, second.End, "a second document begins here; the configuration is one document");
        }

        parser.Consume<StreamEnd>();
        return root is YamlText { IsEmpty: true } ? null : root;
    }

    private static YamlPart ReadPart(Parser parser, Dictionary<string, YamlPart> anchors, int depth)
    {
        ParsingEvent here = parser.Current ?? throw new YamlException("the text ends in the middle");
        if (depth > DeepestNesting)
        {
            throw new YamlException(here.Start, here.End, "nested deeper than any configuration is");
        }

        (int line, int column) = ((int)here.Start.Line, (int)here.Start.Column);
        if (parser.TryConsume<AnchorAlias>(out AnchorAlias? alias))
        {
            return anchors.TryGetValue(alias.Value.Value, out YamlPart? named)
                ? named
                : throw new YamlException(here.Start, here.End, $"the alias *{alias.Value} names no anchor above it");
        }

        AnchorName anchor = here is NodeEvent node ? node.Anchor : AnchorName.Empty;
        YamlPart part;
        if (parser.TryConsume<Scalar>(out Scalar? scalar))
        {
            part = new YamlText(line, column, scalar.Value, scalar.Style is not ScalarStyle.Plain);
        }
        else if (parser.TryConsume<SequenceStart>(out _))
        {
            List<YamlPart> items = [];
            while (!parser.TryConsume<SequenceEnd>(out _))
            {
                items.Add(ReadPart(parser, anchors, depth + 1));
            }

            part = new YamlList(line, column, items);
        }
        else
        {
            part = ReadMap(parser, anchors, depth, line, column);
        }

        if (!anchor.IsEmpty)
        {
            anchors[anchor.Value] = part;
        }

        return part;
    }

    private static YamlMap ReadMap(Parser parser, Dictionary<string, YamlPart> anchors, int depth, int line, int column)
    {
        parser.Consume<MappingStart>();
        List<YamlEntry> entries = [];
        while (!parser.TryConsume<MappingEnd>(out _))
        {
            ParsingEvent key = parser.Current!;
            if (ReadPart(parser, anchors, depth + 1) is not YamlText text)
            {
                throw new YamlException(key.Start, key.End, "a key must be a word");
            }

            entries.Add(new YamlEntry(text, ReadPart(parser, anchors, depth + 1)));
        }

        return new YamlMap(line, column, entries);
    }
}
