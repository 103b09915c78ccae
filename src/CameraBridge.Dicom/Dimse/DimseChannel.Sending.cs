using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.UpperLayer;

namespace CameraBridge.Dicom.Dimse;

/// <content>Sending.</content>
internal sealed partial class DimseChannel
{
    private async ValueTask SendAsync(
        AcceptedContext context, CommandSet command, PixelSource? dataSet, DimseOperation? operation, CancellationToken cancellationToken)
    {
        // Anything but 0101H means that a data set follows (PS3.7 Annex E).
        command.CommandDataSetType = dataSet is null ? CommandSet.NoDataSet : (ushort)1;
        using CancellationTokenSource either = CancellationTokenSource.CreateLinkedTokenSource(Association.Closed, cancellationToken);
        try
        {
            await sending.WaitAsync(either.Token).ConfigureAwait(false);
        }
        catch (OperationCanceledException) when (Association.Failure is { } failure)
        {
            throw failure;
        }

        using PduPacker packer = new(Association, context.Id);
        try
        {
            await packer.AddCommandAsync(command.Encode(), cancellationToken).ConfigureAwait(false);
            if (dataSet is not null)
            {
                Stream source = dataSet.OpenRead();
                await using (source.ConfigureAwait(false))
                {
                    await packer.AddDataSetAsync(source, dataSet.Length, dataSet.Pace, cancellationToken).ConfigureAwait(false);
                }
            }

            operation?.LastIsLeaving();
            await packer.FlushAsync(cancellationToken).ConfigureAwait(false);
        }
        catch (Exception e) when (e is IOException or UnauthorizedAccessException or OperationCanceledException && packer.HasWritten)
        {
            // Half a message is out and the rest will not come: the peer must not take the next one for its end.
            Association.Abort("what was being sent could not be read to its end, or was given up");
            throw;
        }
        finally
        {
            sending.Release();
        }
    }
}
