using System.Globalization;
using System.Runtime.CompilerServices;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Web;

/// <summary>What an archive says of an object that it should keep.</summary>
public enum InstancePresence
{
    /// <summary>It does not know it.</summary>
    Absent,

    /// <summary>It lists it.</summary>
    Kept,

    /// <summary>It lists it, but says that it cannot be had any more: Instance Availability UNAVAILABLE (PS3.3 section C.4.23.1.1).</summary>
    Unavailable,

    /// <summary>It lists an object of this UID under another SOP class, study or series than was asked for.</summary>
    Different,
}

/// <summary>How queries are made.</summary>
public sealed record QidoOptions
{
    /// <summary>Answers to ask for at once.</summary>
    public int PageSize { get; init; } = 500;

    /// <summary>Most answers of one query, all pages together.</summary>
    public int MaxAnswers { get; init; } = 100_000;
}

/// <summary>
/// Asks an archive by QIDO-RS (PS3.18 section 10.6, edition 2024d) which objects it keeps. What comes is laid beside what was asked for, since servers may ignore
/// a filter, a limit or an offset.
/// </summary>
/// <param name="http">The connection; see <see cref="WebPeer.CreateClient"/>. Not disposed here.</param>
/// <param name="peer">The server.</param>
/// <param name="options">How; the default when null.</param>
/// <param name="clock">For the limits.</param>
public sealed class QidoClient(HttpClient http, WebPeer peer, QidoOptions? options = null, TimeProvider? clock = null)
{
    private readonly QidoOptions options = options ?? new QidoOptions();
    private readonly SearchPages pages = new(http, peer, clock ?? TimeProvider.System);

    /// <summary>Whether the archive keeps an object.</summary>
    /// <param name="StudyInstanceUID">Its study.</param>
    /// <param name="SeriesInstanceUID">Its series.</param>
    /// <param name="SOPInstanceUID">The object.</param>
    /// <param name="SOPClassUID">Its class, to be compared where the archive tells it; null for any.</param>
    /// <param name="cancellationToken">Gives up.</param>
    /// <exception cref="WebPeerException">No answer could be had, so nothing is known.</exception>
    public async Task<InstancePresence> FindAsync(
        string StudyInstanceUID, string SeriesInstanceUID, string SOPInstanceUID, string? SOPClassUID = null, CancellationToken cancellationToken = default)
    {
        string path = $"studies/{WebPaths.Uid(StudyInstanceUID)}/series/{WebPaths.Uid(SeriesInstanceUID)}/instances?SOPInstanceUID={WebPaths.Uid(SOPInstanceUID)}";
        await foreach (DataSet found in PagesAsync(path, cancellationToken).ConfigureAwait(false))
        {
            if (found.GetString(Tags.SOPInstanceUID) == SOPInstanceUID)
            {
                return Differs(found, Tags.StudyInstanceUID, StudyInstanceUID) || Differs(found, Tags.SeriesInstanceUID, SeriesInstanceUID)
                    || Differs(found, Tags.SOPClassUID, SOPClassUID) ? InstancePresence.Different
                    : found.GetString(Tags.InstanceAvailability) == "UNAVAILABLE" ? InstancePresence.Unavailable
                    : InstancePresence.Kept;
            }
        }

        return InstancePresence.Absent;
    }

    /// <summary>All objects that the archive keeps of a study, or of one of its series: one query proves many objects.</summary>
    /// <returns>
    /// Data sets with SOP Class and Instance UID at least, as far as the archive tells them; each SOP Instance UID once. Nothing where it does not know the study.
    /// </returns>
    /// <exception cref="WebPeerException">No answer could be had, or none that is one.</exception>
    public IAsyncEnumerable<DataSet> ListAsync(string StudyInstanceUID, string? SeriesInstanceUID = null, CancellationToken cancellationToken = default)
    {
        string series = SeriesInstanceUID is null ? "" : $"/series/{WebPaths.Uid(SeriesInstanceUID)}";
        return PagesAsync($"studies/{WebPaths.Uid(StudyInstanceUID)}{series}/instances", cancellationToken);
    }

    /// <summary>True when the archive tells another value; what it leaves out is no difference.</summary>
    private static bool Differs(DataSet found, Tag tag, string? asked) => asked is not null && found.GetString(tag) is { Length: > 0 } told && told != asked;

    private async IAsyncEnumerable<DataSet> PagesAsync(string path, [EnumeratorCancellation] CancellationToken cancellationToken)
    {
        // An archive that ignores the offset would send the same page for ever: a page without anything new is the last.
        var seen = new HashSet<string>(StringComparer.Ordinal);
        int offset = 0;
        while (true)
        {
            // Section 10.6.3.1: no match is an empty list or 204. A study that is not there at all is 404 with many servers.
            (IReadOnlyList<DataSet> answers, bool hasMore) = await pages.AskAsync(path, options.PageSize, offset, isTolerant: true, cancellationToken).ConfigureAwait(false);
            bool isNew = false;
            foreach (DataSet answer in answers)
            {
                if (answer.GetString(Tags.SOPInstanceUID) is not { Length: > 0 } SOPInstanceUID || !seen.Add(SOPInstanceUID))
                {
                    continue;
                }

                if (seen.Count > options.MaxAnswers)
                {
                    throw new WebPeerException(WebFault.Malformed, string.Create(
                        CultureInfo.InvariantCulture, $"{peer.Name} has more than {nameof(QidoOptions.MaxAnswers)} = {options.MaxAnswers} objects for this query: ask for a series instead of a study."));
                }

                isNew = true;
                yield return answer;
            }

            offset += answers.Count;

            // A server may give fewer than asked for, and then says so (section 8.3.4.4); one that says nothing has given all when the page is not full.
            if (!isNew || (answers.Count < options.PageSize && !hasMore))
            {
                yield break;
            }
        }
    }
}
