using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Pipeline.Objects.Mapping;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects;

/// <summary>
/// What the objects of a series have in common, made once and cloned for each picture. Pictures of which cues say the same share one; not safe for
/// several threads.
/// </summary>
internal sealed class SeriesTemplate
{
    private readonly Dictionary<string, Ready> ready = new(StringComparer.Ordinal);
    private readonly OpticValues ofOrder;
    private readonly string? orderedSide;
    private DataSet? common;
    private List<string> commonNotes = [];

    public SeriesTemplate(SeriesFacts facts)
    {
        Facts = facts;
        OpticValues order = OrderValues.Of(facts.Step, facts.Optic);
        orderedSide = order.One(ValueKeys.Side);
        ofOrder = order;
    }

    public SeriesFacts Facts { get; }

    /// <summary>A data set of its own for a picture of which cues say this, or why the picture is held.</summary>
    public (DataSet? Begun, Reason? Held) Begin(OpticValues said, List<string> notes)
    {
        string key = said.ToJson() ?? "";
        if (!ready.TryGetValue(key, out Ready? one))
        {
            one = Make(said);
            ready.Add(key, one);
        }

        notes.AddRange(one.Notes);
        return (one.DataSet?.Clone(), one.Held);
    }

    private Ready Make(OpticValues said)
    {
        if (Obstacle(said) is { } obstacle)
        {
            return new Ready(null, obstacle, []);
        }

        var notes = new List<string>();
        try
        {
            DataSet made = Common().Clone();
            OpticPart part = PartOf(said);
            if (OpticNeeds.Missing(Facts, part.Values) is { } missing)
            {
                return new Ready(null, missing, []);
            }

            notes.AddRange(commonNotes);
            Map(made, part, notes);
            NoteHomeless(said, notes);
            return new Ready(made, null, notes);
        }
        catch (ValueException error)
        {
            // Only what says whose picture it is gets here: descriptions are shortened instead. The message names the attribute and the rule.
            return new Ready(null, new Reason(
                "value-not-allowed", $"The worklist's answer cannot be written into an object: {error.Message} Correct the order, then assign the sitting again."), []);
        }
    }

    private Reason? Obstacle(OpticValues said)
    {
        if (Facts.Step.GetString(Tags.StudyInstanceUID) is not { } uid || !Uids.IsValid(uid))
        {
            return new Reason(
                "study-uid-missing", "The worklist's answer has no valid Study Instance UID (0020,000D), so the picture belongs to no study; have the worklist send one.");
        }

        if (Facts.Step.GetString(Tags.PatientID) is null)
        {
            return new Reason("patient-id-missing", "The worklist's answer has no Patient ID (0010,0020); have the worklist send one, then assign the sitting again.");
        }

        foreach (string option in said.All(OpticPart.WithKey))
        {
            if (Facts.Optic.FindOption(option) is null)
            {
                return OpticNeeds.UnknownOption(Facts.Optic, option);
            }
        }

        string? side = said.One(ValueKeys.Side);
        return side is "R" or "L" && orderedSide is "R" or "L" && side != orderedSide && said.One(OpticPart.ByHandKey) != ValueKeys.Side
            ? OpticNeeds.OtherSide(orderedSide)
            : null;
    }

    private OpticPart PartOf(OpticValues said)
    {
        OpticPart part = Facts.Optic.PartWith([.. Facts.Optic.With, .. said.All(OpticPart.WithKey)]);
        return part with { Values = said.Over(ofOrder).Over(part.Values) };
    }

    private DataSet Common()
    {
        if (common is null)
        {
            var made = new DataSet();
            var notes = new List<string>();
            StepMapping.Map(made, Facts, notes);
            EquipmentMapping.Map(made, Facts, notes);
            made.Set(Tags.SOPClassUID, Facts.SOPClassUID);
            made.SetEmpty(Tags.PatientOrientation);
            (common, commonNotes) = (made, notes);
        }

        return common;
    }

    private void Map(DataSet made, OpticPart part, List<string> notes)
    {
        AnatomyMapping.Map(made, Facts, part.Values);
        ContextMapping.Map(made, Facts, part, notes);
        SetIfSaid(made, Tags.RecognizableVisualFeatures, part.Values.One(ValueKeys.Recognizable));
        SetIfSaid(made, Tags.BurnedInAnnotation, part.Values.One(ValueKeys.BurnedIn));
        switch (Facts.SOPClassUID)
        {
            case SopClasses.DermoscopicPhotographyImageStorage:
                SkinMapping.Map(made, Facts, part.Values);
                break;
            case SopClasses.OphthalmicPhotography8BitImageStorage:
                EyeMapping.Map(made, Facts, part.Values);
                if (part.Values.One(ValueKeys.EyeImage) is { } image)
                {
                    made.Set(Tags.ImageType, "ORIGINAL", "PRIMARY", "", image);
                }

                break;
        }
    }

    /// <summary>A clip of an eye is no ophthalmic object: what only that one has a place for is told, not dropped in silence.</summary>
    private void NoteHomeless(OpticValues said, List<string> notes)
    {
        foreach (string name in said.Keys)
        {
            if (ValueKeys.Find(name) is { } key && !key.IsFor(Facts.SOPClassUID))
            {
                notes.Add($"The {Facts.Optic.Of(Facts.Kind).Word} object has no place for {name}; it is left out.");
            }
        }
    }

    private static void SetIfSaid(DataSet made, Tag tag, string? value)
    {
        if (value is not null)
        {
            made.Set(tag, value);
        }
    }

    private sealed record Ready(DataSet? DataSet, Reason? Held, IReadOnlyList<string> Notes);
}
