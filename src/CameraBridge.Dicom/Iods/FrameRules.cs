using System.Globalization;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>Agreements between the attributes of frames and time, of channels, identifiers, dates and spacings.</summary>
internal static class FrameRules
{
    public static void Check(DataSet dataSet, FindingList findings)
    {
        if (dataSet.Contains(Tags.NumberOfFrames))
        {
            CheckFrames(dataSet, findings);
        }

        // PS3.3 section C.7.6.6.1.2: it points to an attribute of this object.
        foreach (Tag tag in dataSet.GetTags(Tags.FrameIncrementPointer))
        {
            if (!dataSet.Contains(tag))
            {
                findings.Add(Severity.Error, "frames.pointer", null, "FrameIncrementPointer", "PS3.3 C.7.6.6.1.2", $"{tag}, which the object does not have", "the tag of an attribute of the object");
            }
        }

        CheckChannels(dataSet, findings);
        CheckIdentifiers(dataSet, findings);
        CheckTimezone(dataSet, findings);
        CheckBirth(dataSet, findings);
        CheckSpacing(dataSet, findings);
    }

    private static void CheckFrames(DataSet dataSet, FindingList findings)
    {
        int? frames = dataSet.GetInt32(Tags.NumberOfFrames);
        if (frames is < 1)
        {
            findings.Add(Severity.Error, "frames.number", null, "NumberOfFrames", "PS3.3 C.7.6.6", $"{frames}", "1 or more");
        }

        if (dataSet[Tags.FrameTimeVector] is { IsEmpty: false } vector && frames is { } count && ElementText.Count(vector) != count)
        {
            findings.Add(Severity.Error, "frames.times", null, "FrameTimeVector", "PS3.3 C.7.6.5", $"{ElementText.Count(vector)} values", $"one for each of {count} frames");
        }

        // A frame rate is a whole number, so that 29.97 frames a second may be told as 29 or 30.
        if (dataSet.GetInt32(Tags.CineRate) is { } rate && dataSet.GetDouble(Tags.FrameTime) is { } time and > 0 && Math.Abs(1000 / time - rate) > 1)
        {
            findings.Add(
                Severity.Error, "frames.rate", null, "CineRate", "PS3.3 C.7.6.5", $"{rate}", string.Create(CultureInfo.InvariantCulture, $"about {1000 / time:0.##}, by Frame Time"));
        }

        foreach ((Tag tag, string keyword) in new[] { (Tags.StartTrim, "StartTrim"), (Tags.StopTrim, "StopTrim") })
        {
            if (dataSet.GetInt32(tag) is { } trim && (trim < 1 || trim > frames))
            {
                findings.Add(Severity.Error, "frames.trim", null, keyword, "PS3.3 C.7.6.5", $"{trim}", $"a frame of 1 to {frames}");
            }
        }
    }

    // PS3.3 section C.8.12.1: "Shall have the same number of Items as the Value of Samples per Pixel".
    private static void CheckChannels(DataSet dataSet, FindingList findings)
    {
        if (dataSet[Tags.ChannelDescriptionCodeSequence]?.Items is { Count: > 0 } channels
            && (dataSet.GetInt32(Tags.SamplesPerPixelUsed) ?? dataSet.GetInt32(Tags.SamplesPerPixel)) is { } samples && channels.Count != samples)
        {
            findings.Add(Severity.Error, "items.number", null, "ChannelDescriptionCodeSequence", "PS3.3 C.8.12.1", $"{channels.Count} items", $"{samples} items, one for each sample");
        }
    }

    // PS3.5 section 9: a UID identifies one thing.
    private static void CheckIdentifiers(DataSet dataSet, FindingList findings)
    {
        string? study = ElementText.First(dataSet[Tags.StudyInstanceUID]);
        string? series = ElementText.First(dataSet[Tags.SeriesInstanceUID]);
        string? instance = ElementText.First(dataSet[Tags.SOPInstanceUID]);
        if (series is not null && series == study)
        {
            findings.Add(Severity.Error, "uid.same", null, "SeriesInstanceUID", "PS3.5 9", "the UID of the study", "a UID of its own");
        }

        if (instance is not null && (instance == study || instance == series))
        {
            findings.Add(Severity.Error, "uid.same", null, "SOPInstanceUID", "PS3.5 9", "the UID of the study or the series", "a UID of its own");
        }
    }

    // PS3.3 section C.12.1: "&ZZXX", from -1200 to +1400; "-0000" does not exist.
    private static void CheckTimezone(DataSet dataSet, FindingList findings)
    {
        if (ElementText.First(dataSet[Tags.TimezoneOffsetFromUTC]) is not { } zone)
        {
            return;
        }

        bool isRight = zone.Length == 5 && zone[0] is '+' or '-' && zone != "-0000"
            && int.TryParse(zone.AsSpan(1), NumberStyles.None, CultureInfo.InvariantCulture, out int offset)
            && offset % 100 < 60 && offset <= (zone[0] == '-' ? 1200 : 1400);
        if (!isRight)
        {
            findings.Add(Severity.Error, "value.form", null, "TimezoneOffsetFromUTC", "PS3.3 C.12.1", "a value of another form", "+HHMM or -HHMM, from -1200 to +1400");
        }
    }

    // Plausible only: no section forbids it, and both dates stay unseen.
    private static void CheckBirth(DataSet dataSet, FindingList findings)
    {
        if (dataSet.GetDate(Tags.PatientBirthDate) is { } birth && dataSet.GetDate(Tags.StudyDate) is { } study && birth > study)
        {
            findings.Add(Severity.Warning, "date.birth", null, "PatientBirthDate", "PS3.3 C.7.1.1", "a date behind that of the study", "a date before it");
        }
    }

    // PS3.3 section 10.7.1.3: two positive numbers.
    private static void CheckSpacing(DataSet dataSet, FindingList findings)
    {
        foreach ((Tag tag, string keyword) in new[] { (Tags.PixelSpacing, "PixelSpacing"), (Tags.ImagerPixelSpacing, "ImagerPixelSpacing") })
        {
            if (dataSet.GetDoubles(tag).Any(spacing => spacing <= 0))
            {
                findings.Add(Severity.Error, "spacing.value", null, keyword, "PS3.3 10.7.1.3", "a spacing of zero or less", "positive numbers");
            }
        }
    }
}
