using System.Runtime.CompilerServices;
using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Part10;
using CameraBridge.Dicom.Web;
using CameraBridge.Persistence;

namespace CameraBridge.Pipeline.Deliveries;

/// <summary>
/// Sends by STOW-RS (PS3.18 section 10.5): batches bounded by count and bytes, streamed from the spool, judged object by object. What an answer condemns only as a
/// batch is sent alone before it is judged.
/// </summary>
/// <param name="web">The server.</param>
/// <param name="link">What may be used of the way there.</param>
/// <param name="spoolFolder">Where the pixels lie.</param>
/// <param name="isAsked">Whether the server is asked afterwards what it keeps.</param>
/// <param name="clock">For limits and tokens.</param>
internal sealed class StowSender(WebConfiguration web, LinkShare link, string spoolFolder, bool isAsked, TimeProvider clock) : IObjectSender
{
    private readonly Lock _gate = new();
    private WebConnection? _connection;

    public string PeerName => $"web archive {web.Name}";

    public async IAsyncEnumerable<TriedDelivery> SendAsync(
        IEnumerable<DeliveryTask> tasks, IReadOnlyList<DeliveryTask> all, [EnumeratorCancellation] CancellationToken cancellation)
    {
        List<(DeliveryTask Task, PixelSource DataSet)> batch = [];
        long bytes = 0;
        foreach (DeliveryTask task in tasks)
        {
            if (!TryLocate(task, out PixelSource dataSet, out Attempt? fault))
            {
                yield return new TriedDelivery(task, fault!);
                continue;
            }

            if (batch.Count > 0 && (batch.Count >= web.BatchObjects || bytes + dataSet.Length > web.BatchMegabytes * 1024L * 1024))
            {
                await foreach (TriedDelivery tried in SendBatchAsync(batch, cancellation).ConfigureAwait(false))
                {
                    yield return tried;
                }

                batch.Clear();
                bytes = 0;
            }

            batch.Add((task, dataSet));
            bytes += dataSet.Length;
        }

        await foreach (TriedDelivery tried in SendBatchAsync(batch, cancellation).ConfigureAwait(false))
        {
            yield return tried;
        }
    }

    public ValueTask DisposeAsync()
    {
        Renew();
        return ValueTask.CompletedTask;
    }

    private async IAsyncEnumerable<TriedDelivery> SendBatchAsync(List<(DeliveryTask Task, PixelSource DataSet)> batch, [EnumeratorCancellation] CancellationToken cancellation)
    {
        if (batch.Count == 0)
        {
            yield break;
        }

        (StowReply? reply, Attempt? fault) = await StoreAsync(batch, cancellation).ConfigureAwait(false);
        foreach ((DeliveryTask task, PixelSource dataSet) in batch)
        {
            if (reply?[task.Object.SOPInstanceUID] is { SendAlone: true } && batch.Count > 1)
            {
                (StowReply? alone, Attempt? failed) = await StoreAsync([(task, dataSet)], cancellation).ConfigureAwait(false);
                yield return new TriedDelivery(task, failed ?? Judge(alone!, task));
                continue;
            }

            yield return new TriedDelivery(task, fault ?? Judge(reply!, task));
        }
    }

    private async Task<(StowReply? Reply, Attempt? Fault)> StoreAsync(IReadOnlyList<(DeliveryTask Task, PixelSource DataSet)> batch, CancellationToken cancellation)
    {
        if (Connect(out string? why) is not { } connection)
        {
            return (null, new Attempt(new DeliveryOutcome.Retry(null, why!), Blame.Destination));
        }

        try
        {
            StowReply reply = web.Form == WebForm.Metadata
                ? await connection.Stow.StoreMetadataAsync([.. batch.Select(one => MetadataOf(one.Task.Object, one.DataSet))], cancellationToken: cancellation).ConfigureAwait(false)
                : await connection.Stow.StoreAsync(
                    [.. batch.Select(one => StowInstance.FromDataSet(one.Task.Object.SOPClassUID, one.Task.Object.SOPInstanceUID, one.Task.Object.TransferSyntaxUID, one.DataSet))],
                    cancellationToken: cancellation).ConfigureAwait(false);
            if (reply.Instances.Any(judged => judged.ConcernsPeer))
            {
                // Credentials may have been renewed on the disk since they were read.
                Renew();
            }

            return (reply, null);
        }
        catch (Exception unreadable) when (Attempt.OfSpool(unreadable, PeerName) is { } attempt)
        {
            return (null, attempt);
        }
    }

    private Attempt Judge(StowReply reply, DeliveryTask task)
    {
        StowJudgement judgement = reply[task.Object.SOPInstanceUID];
        var outcome = DeliveryOutcome.Of(judgement, isAsked);
        Blame blame = outcome is not (DeliveryOutcome.Retry or DeliveryOutcome.Unknown) ? Blame.None : judgement.ConcernsPeer ? Blame.Destination : Blame.Object;
        return new Attempt(outcome, blame) { RetryAfter = blame == Blame.None ? null : reply.RetryAfter };
    }

    private bool TryLocate(DeliveryTask task, out PixelSource dataSet, out Attempt? fault)
    {
        try
        {
            dataSet = SpooledObject.Locate(task.Object, spoolFolder, link);
            fault = null;
            return true;
        }
        catch (Exception unreadable) when (Attempt.OfSpool(unreadable, PeerName) is { } attempt)
        {
            dataSet = PixelSource.Empty;
            fault = attempt;
            return false;
        }
    }

    private static StowMetadata MetadataOf(ImagingObject made, PixelSource dataSet)
    {
        TransferSyntax syntax = TransferSyntax.Find(made.TransferSyntaxUID) ?? TransferSyntax.ExplicitLittleEndian;
        return new StowMetadata(ElementReader.Read(dataSet, syntax), syntax);
    }

    private WebConnection? Connect(out string? why)
    {
        lock (_gate)
        {
            why = null;
            return _connection ??= WebConnection.TryOpen(web, clock, out why);
        }
    }

    private void Renew()
    {
        lock (_gate)
        {
            _connection?.Dispose();
            _connection = null;
        }
    }
}
