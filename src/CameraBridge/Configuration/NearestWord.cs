namespace CameraBridge.Configuration;

/// <summary>"Did you mean": the known word that a mistyped one is closest to.</summary>
internal static class NearestWord
{
    /// <returns>The closest word, or null when none is close (a third of the letters wrong, at least one may be).</returns>
    public static string? Of(string written, IEnumerable<string> known)
    {
        string plain = Plain(written);
        (string Word, int Distance)[] ranked = [.. known
            .Select(word => (word, Distance(plain, Plain(word))))
            .OrderBy(pair => pair.Item2).ThenBy(pair => pair.word, StringComparer.Ordinal).Take(1)];
        return ranked.Length == 1 && ranked[0].Distance <= Math.Max(1, plain.Length / 3) ? ranked[0].Word : null;
    }

    // Case, hyphens and underscores are the commonest slips and cost nothing.
    private static string Plain(string word) => new([.. word.ToUpperInvariant().Where(char.IsLetterOrDigit)]);

    /// <summary>Letters to insert, delete, replace or swap with their neighbour.</summary>
    private static int Distance(string left, string right)
    {
        int[,] steps = new int[left.Length + 1, right.Length + 1];
        for (int i = 0; i <= left.Length; i++)
        {
            for (int j = 0; j <= right.Length; j++)
            {
                steps[i, j] = i == 0 ? j
                    : j == 0 ? i
                    : Math.Min(
                        Math.Min(steps[i - 1, j], steps[i, j - 1]) + 1,
                        steps[i - 1, j - 1] + (left[i - 1] == right[j - 1] ? 0 : 1));
                if (i > 1 && j > 1 && left[i - 1] == right[j - 2] && left[i - 2] == right[j - 1])
                {
                    steps[i, j] = Math.Min(steps[i, j], steps[i - 2, j - 2] + 1);
                }
            }
        }

        return steps[left.Length, right.Length];
    }
}
