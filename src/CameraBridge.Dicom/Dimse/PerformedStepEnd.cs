using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Dimse;

/// <summary>A series that came of a performed procedure step.</summary>
/// <param name="SeriesInstanceUID">Series Instance UID.</param>
/// <param name="ProtocolName">Protocol Name: must have a value.</param>
/// <param name="Images">Its pictures and clips.</param>
public sealed record PerformedSeries(string SeriesInstanceUID, string ProtocolName, IReadOnlyList<ReferencedInstance> Images)
{
    /// <summary>Series Description.</summary>
    public string? SeriesDescription { get; init; }

    /// <summary>Performing Physician's Name.</summary>
    public string? PerformingPhysicianName { get; init; }

    /// <summary>Operators' Name.</summary>
    public string? OperatorsName { get; init; }

    /// <summary>AE title of the archive from which the series can be retrieved.</summary>
    public string? RetrieveAETitle { get; init; }

    /// <summary>Objects of the series that are no images, such as documents.</summary>
    public IReadOnlyList<ReferencedInstance> NonImages { get; init; } = [];

    internal DataSet ToItem()
    {
        DataSet item = new();
        item.Set(Tags.PerformingPhysicianName, PerformingPhysicianName);
        item.Set(Tags.ProtocolName, ProtocolName);
        item.Set(Tags.OperatorsName, OperatorsName);
        item.Set(Tags.SeriesInstanceUID, SeriesInstanceUID);
        item.Set(Tags.SeriesDescription, SeriesDescription);
        item.Set(Tags.RetrieveAETitle, RetrieveAETitle);
        item.SetItems(Tags.ReferencedImageSequence, Images.Select(one => one.ToItem()));
        item.SetItems(Tags.ReferencedNonImageCompositeSOPInstanceSequence, NonImages.Select(one => one.ToItem()));
        return item;
    }
}

/// <summary>The end of a performed procedure step (N-SET, PS3.4 section F.7.2.2). After it the step cannot be changed.</summary>
/// <param name="End">When it ended, in the local time of the pictures.</param>
/// <param name="Series">
/// What came of it. A completed step names at least one series, a discontinued one should, though the series may be without images.
/// </param>
public sealed record PerformedStepEnd(DateTime End, IReadOnlyList<PerformedSeries> Series)
{
    /// <summary>Null when it is completed, else why it was discontinued.</summary>
    public DiscontinuationReason? Discontinued { get; init; }

    /// <summary>Comments on the Performed Procedure Step; null leaves them as they are.</summary>
    public string? Comments { get; init; }

    /// <summary>The modifications of N-SET.</summary>
    /// <exception cref="ValueException">A value does not fit its VR.</exception>
    public DataSet ToDataSet()
    {
        DataSet dataSet = new();
        dataSet.SetDate(Tags.PerformedProcedureStepEndDate, DateOnly.FromDateTime(End));
        dataSet.SetTime(Tags.PerformedProcedureStepEndTime, TimeOnly.FromDateTime(End));
        dataSet.Set(Tags.PerformedProcedureStepStatus, Discontinued is null ? PerformedStepCheck.Completed : PerformedStepCheck.Discontinued);
        if (Comments is not null)
        {
            dataSet.Set(Tags.CommentsOnThePerformedProcedureStep, Comments);
        }

        if (Discontinued is not null)
        {
            dataSet.SetItems(Tags.PerformedProcedureStepDiscontinuationReasonCodeSequence, Discontinued.ToItem());
        }

        dataSet.SetItems(Tags.PerformedSeriesSequence, Series.Select(one => one.ToItem()));
        return dataSet;
    }
}
