namespace CameraBridge.Commands.Cards;

/// <summary>What cards are printed on; lengths in millimetres.</summary>
/// <param name="Name">As it is typed.</param>
/// <param name="Width">Of the page.</param>
/// <param name="Height">Of the page.</param>
/// <param name="CardWidth">Of a card.</param>
/// <param name="CardHeight">Of a card.</param>
/// <param name="Columns">Cards beside each other.</param>
/// <param name="Rows">Cards below each other.</param>
/// <param name="CodeBox">Side of the square that a code has with the white around it.</param>
/// <param name="ScaleCode">Side of the scale card's code, without the white.</param>
/// <param name="Ruler">Length of the scale card's line.</param>
internal sealed record CardPaper(
    string Name, float Width, float Height, float CardWidth, float CardHeight, int Columns, int Rows, float CodeBox, float ScaleCode, int Ruler)
{
    /// <summary>A4 is of ISO 216, a badge is ID-1 of ISO/IEC 7810 (85.60 by 53.98 mm), letter is 8.5 by 11 inches.</summary>
    public static readonly IReadOnlyList<CardPaper> All =
    [
        new("a4", 210, 297, 95, 66, 2, 4, 58, 45, 100),
        new("letter", 215.9f, 279.4f, 95, 66, 2, 4, 58, 45, 100),
        new("badge", 85.6f, 53.98f, 85.6f, 53.98f, 1, 1, 46, 30, 70),
    ];

    /// <summary>A scale card has a line that is as wide as two cards where there are two.</summary>
    public float ScaleCardWidth => CardWidth * Columns;
}
