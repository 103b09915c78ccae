using System.Globalization;

namespace CameraBridge.Pipeline.Sittings;

/// <summary>
/// The order in which the pictures of a folder were taken. It decides whose they are, since what lies behind a label belongs to the label, so it is told
/// when it cannot be known.
/// <list type="number">
/// <item>Numbered names win: a camera counts on, whatever its clock does. A clock that jumps back, or file times of 2 s, change nothing.</item>
/// <item>A counter that ran over (…9999, 0001…) is taken as such when the times say so; when they do not, the order is in doubt.</item>
/// <item>Names that are not numbered say nothing: the times count, Exif or the file's, and the name only where times are equal. Where a label or card and its
/// neighbour are too close in time to tell which was first, the order is in doubt.</item>
/// </list>
/// </summary>
internal static class CaptureOrder
{
    /// <summary>FAT keeps file times in steps of 2 s.</summary>
    private static readonly TimeSpan FileTimeStep = TimeSpan.FromSeconds(2);

    /// <summary>Puts pictures in order. Sidecars are no pictures and must not be among them.</summary>
    /// <param name="pictures">The folder's pictures.</param>
    /// <param name="divides">The captures of which it matters what follows them: labels, cards, and what could not be looked at.</param>
    /// <returns>The order, and why it is in doubt or null.</returns>
    public static (IReadOnlyList<Capture> Pictures, string? Doubt) Of(IReadOnlyList<Capture> pictures, IReadOnlySet<long> divides)
    {
        Capture[] byName = [.. pictures.OrderBy(capture => capture.Place, PlaceOrder.Natural)];
        if (ByCounter(byName) is { } counted)
        {
            return counted;
        }

        if (IsNumbered(byName))
        {
            return (byName, null);
        }

        Capture[] byTime = [.. byName.OrderBy(TimeOf)];
        for (int i = 1; i < byTime.Length; i++)
        {
            bool matters = divides.Contains(byTime[i - 1].Id) || divides.Contains(byTime[i].Id);
            bool coarse = !HasExif(byTime[i - 1]) || !HasExif(byTime[i]);
            TimeSpan between = TimeOf(byTime[i]) - TimeOf(byTime[i - 1]);
            if (matters && (coarse ? between <= FileTimeStep : between == TimeSpan.Zero))
            {
                return (byTime, "The file names are not numbered and the times of a label or card and its neighbour are equal, so it is not sure which pictures follow it.");
            }
        }

        return (byTime, null);
    }

    private static DateTimeOffset TimeOf(Capture capture) => capture.TakenAt ?? capture.ModifiedAt;

    private static bool HasExif(Capture capture) => capture.TakenAtOrigin?.StartsWith("exif", StringComparison.Ordinal) == true;

    /// <summary>Names made of a text and a counter: one text for all, or any four characters and four digits, as cameras name stills and videos of one counter.</summary>
    private static (IReadOnlyList<Capture>, string?)? ByCounter(Capture[] byName)
    {
        var names = new List<(Capture Capture, string Text, string Digits, long Number)>(byName.Length);
        foreach (Capture capture in byName)
        {
            string name = NameOf(capture);
            string text = name.TrimEnd("0123456789".ToCharArray());
            string digits = name[text.Length..];
            if (!long.TryParse(digits, NumberStyles.None, CultureInfo.InvariantCulture, out long number))
            {
                return null;
            }

            names.Add((capture, text, digits, number));
        }

        bool oneText = names.All(name => name.Text.Equals(names[0].Text, StringComparison.OrdinalIgnoreCase));
        bool oneCounter = names.All(name => name.Text.Length == 4 && name.Digits.Length == 4)
            && names.GroupBy(name => name.Number).All(same => same.Select(name => name.Text).Distinct(StringComparer.OrdinalIgnoreCase).Count() == 1);
        if (names.Count == 0 || !(oneText || oneCounter))
        {
            return null;
        }

        names = [.. names.OrderBy(name => name.Number)];
        int width = names.Max(name => name.Digits.Length);
        int widest = 0;
        for (int i = 1; i < names.Count; i++)
        {
            if (widest == 0 || names[i].Number - names[i - 1].Number > names[widest].Number - names[widest - 1].Number)
            {
                widest = i;
            }
        }

        Capture[] ordered = [.. names.Select(name => name.Capture)];
        bool mayHaveRunOver = widest > 0 && width is >= 3 and <= 9 && names.All(name => name.Digits.Length == width)
            && names[widest].Number - names[widest - 1].Number >= (long)Math.Pow(10, width) / 2;
        return mayHaveRunOver ? RunOver(ordered[..widest], ordered[widest..]) : (ordered, null);
    }

    /// <summary>Half the counter's range lies between two pictures: either many were taken elsewhere, or the counter began again. The times tell.</summary>
    private static (IReadOnlyList<Capture>, string?) RunOver(Capture[] low, Capture[] high)
    {
        if (high.Max(TimeOf) <= low.Min(TimeOf))
        {
            return ([.. high, .. low], null);
        }

        return low.Max(TimeOf) <= high.Min(TimeOf)
            ? ([.. low, .. high], null)
            : ([.. low, .. high], "The camera's picture counter may have begun again within the folder and the times do not tell, so it is not sure which pictures follow a label or card.");
    }

    /// <summary>Whether numbers decide the order of all names: two neighbours differ first in a number.</summary>
    private static bool IsNumbered(Capture[] byName)
    {
        for (int i = 1; i < byName.Length; i++)
        {
            string a = NameOf(byName[i - 1]);
            string b = NameOf(byName[i]);
            int at = 0;
            while (at < a.Length && at < b.Length && char.ToUpperInvariant(a[at]) == char.ToUpperInvariant(b[at]))
            {
                at++;
            }

            bool same = at == a.Length && at == b.Length;
            bool inNumber = IsDigit(a, at) && IsDigit(b, at);
            bool oneIsLonger = at > 0 && char.IsAsciiDigit(a[at - 1]) && (IsDigit(a, at) || IsDigit(b, at));
            if (!same && !inNumber && !oneIsLonger)
            {
                return false;
            }
        }

        return true;
    }

    private static bool IsDigit(string text, int at) => at < text.Length && char.IsAsciiDigit(text[at]);

    private static string NameOf(Capture capture) => Path.GetFileNameWithoutExtension(capture.Place[(capture.Place.LastIndexOf('/') + 1)..]);
}
