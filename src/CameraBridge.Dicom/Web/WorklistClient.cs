using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Web;

/// <summary>Which worklist a server offers by DICOMweb.</summary>
public enum WorklistService
{
    /// <summary>Modality Scheduled Procedure Steps (PS3.18 chapter 14, edition 2025e), with the semantics of PS3.4 Annex K.</summary>
    ScheduledProcedureSteps,

    /// <summary>Workitems, the Unified Procedure Steps (PS3.18 chapter 11, edition 2019e), with the semantics of PS3.4 Annex CC.</summary>
    Workitems,
}

/// <summary>What a search gave.</summary>
/// <param name="Answers">The answers, each once.</param>
/// <param name="IsCut">There are more than were asked for, or the server says so and does not give them.</param>
public sealed record WorklistSearch(IReadOnlyList<DataSet> Answers, bool IsCut);

/// <summary>
/// Asks a worklist by DICOMweb. The question is an identifier as C-FIND has it: elements with a value are matched, empty ones are asked for. What comes is not
/// filtered here, since servers may ignore a key, a limit or an offset.
/// </summary>
/// <param name="http">The connection; see <see cref="WebPeer.CreateClient"/>. Not disposed here.</param>
/// <param name="peer">The server.</param>
/// <param name="service">What it offers.</param>
/// <param name="clock">For the limits.</param>
public sealed class WorklistClient(HttpClient http, WebPeer peer, WorklistService service, TimeProvider? clock = null)
{
    private const int LargestPage = 200;

    /// <summary>A server that gives its answers one by one is left at this many requests.</summary>
    private const int MostPages = 100;

    private readonly SearchPages pages = new(http, peer, clock ?? TimeProvider.System);

    /// <summary>Searches.</summary>
    /// <param name="identifier">The question.</param>
    /// <param name="most">Answers that are taken at most; a search with more is cut.</param>
    /// <param name="cancellationToken">Gives up.</param>
    /// <exception cref="WebPeerException">The answer could not be had, or is none: nothing is known then.</exception>
    public async Task<WorklistSearch> SearchAsync(DataSet identifier, int most, CancellationToken cancellationToken = default)
    {
        ArgumentNullException.ThrowIfNull(identifier);
        string path = PathOf(service, identifier);
        var answers = new List<DataSet>();
        var seen = new HashSet<string>(StringComparer.Ordinal);
        int size = Math.Min(LargestPage, most + 1);
        int offset = 0;
        for (int page = 0; page < MostPages; page++)
        {
            (IReadOnlyList<DataSet> some, bool hasMore) = await pages.AskAsync(path, size, offset, isTolerant: false, cancellationToken).ConfigureAwait(false);
            DataSet[] fresh = [.. some.Where(answer => seen.Add(Encoding.UTF8.GetString(DicomJson.Write(answer))))];
            answers.AddRange(fresh.Take(most - answers.Count));
            if (seen.Count > most)
            {
                return new WorklistSearch(answers, true);
            }

            // A page that repeats what was there, from a server that does not look at the offset, hides what the server has not given.
            if (fresh.Length == 0 || (some.Count < size && !hasMore))
            {
                return new WorklistSearch(answers, hasMore || (fresh.Length == 0 && some.Count == size));
            }

            offset += some.Count;
        }

        return new WorklistSearch(answers, true);
    }

    /// <summary>
    /// Resource and query: a match parameter for each element with a value, by its tags joined by dots (section 8.3.4.1), and includefield for the others (section 8.3.4.3). A
    /// sequence is asked for as a whole.
    /// </summary>
    internal static string PathOf(WorklistService service, DataSet identifier)
    {
        var path = new StringBuilder(service == WorklistService.Workitems ? "workitems" : "modality-scheduled-procedure-steps");
        var asked = new List<string>();
        char separator = '?';
        foreach (Element element in identifier.Where(element => element.Tag != Tags.SpecificCharacterSet))
        {
            bool isMatched = false;
            foreach ((string key, string value) in Matches(identifier, element, ""))
            {
                path.Append(separator).Append(key).Append('=').Append(Uri.EscapeDataString(value));
                separator = '&';
                isMatched = true;
            }

            if (!isMatched || element.Vr == Vr.SQ)
            {
                asked.Add(Hex(element.Tag));
            }
        }

        return asked.Count == 0 ? path.ToString() : path.Append(separator).Append("includefield=").AppendJoin(',', asked).ToString();
    }

    private static IEnumerable<(string Key, string Value)> Matches(DataSet holder, Element element, string above) => element.Vr == Vr.SQ
        ? (element.Items ?? []).SelectMany(item => item.SelectMany(inner => Matches(item, inner, $"{above}{Hex(element.Tag)}.")))
        : holder.GetString(element.Tag) is { } value ? [(above + Hex(element.Tag), value)]
        : [];

    private static string Hex(Tag tag) => $"{tag.Group:X4}{tag.Number:X4}";
}
