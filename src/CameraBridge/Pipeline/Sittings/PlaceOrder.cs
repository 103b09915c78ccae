namespace CameraBridge.Pipeline.Sittings;

/// <summary>The order a person expects of file names: IMG_2 before IMG_10. Letters compare without case, as on the camera's FAT file system.</summary>
internal sealed class PlaceOrder : IComparer<string>
{
    public static PlaceOrder Natural { get; } = new();

    public int Compare(string? x, string? y)
    {
        if (x is null || y is null)
        {
            return x is null ? (y is null ? 0 : -1) : 1;
        }

        int i = 0;
        int j = 0;
        while (i < x.Length && j < y.Length)
        {
            int order = char.IsAsciiDigit(x[i]) && char.IsAsciiDigit(y[j])
                ? CompareNumbers(Digits(x, ref i), Digits(y, ref j))
                : char.ToUpperInvariant(x[i++]).CompareTo(char.ToUpperInvariant(y[j++]));
            if (order != 0)
            {
                return order;
            }
        }

        int rest = (x.Length - i).CompareTo(y.Length - j);
        return rest != 0 ? rest : string.CompareOrdinal(x, y);
    }

    private static int CompareNumbers(ReadOnlySpan<char> a, ReadOnlySpan<char> b)
    {
        ReadOnlySpan<char> left = a.TrimStart('0');
        ReadOnlySpan<char> right = b.TrimStart('0');
        return left.Length != right.Length ? left.Length.CompareTo(right.Length) : left.SequenceCompareTo(right);
    }

    private static ReadOnlySpan<char> Digits(string text, ref int at)
    {
        int start = at;
        while (at < text.Length && char.IsAsciiDigit(text[at]))
        {
            at++;
        }

        return text.AsSpan(start, at - start);
    }
}
