using CameraBridge.Pipeline.Sittings.Cues.Cards;

namespace CameraBridge.Commands.Cards;

/// <summary>One card, ready to be drawn.</summary>
internal sealed record PrintedCard
{
    /// <summary>Name of its file, and of <c>--only</c>.</summary>
    public required string Name { get; init; }

    /// <summary>What its code says; null for a card that people alone read.</summary>
    public CardCue? Cue { get; init; }

    /// <summary>A word above the title.</summary>
    public string Kind { get; init; } = "";

    public required string Title { get; init; }

    /// <summary>What it does, in plain words.</summary>
    public required IReadOnlyList<string> Lines { get; init; }

    public string Caution { get; init; } = "";

    /// <summary>Side of the code in millimetres where it must be exact; null where it is as large as its place.</summary>
    public float? CodeSide { get; init; }

    /// <summary>The text at a line of known length; null for cards without one.</summary>
    public string? Ruler { get; init; }
}
