using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>
/// Where on the body and on which side: Body Part Examined, Laterality, Image Laterality, Anatomic Region, Primary Anatomic Structure, View (PS3.3 sections
/// C.7.3.1, C.8.12.1, C.8.17.5, 10.5; edition 2025e).
/// </summary>
internal static class AnatomyMapping
{
    /// <summary>PS3.16 CID 244.</summary>
    private static readonly Code Right = new("24028007", Code.Snomed, "Right"), Left = new("7771000", Code.Snomed, "Left"),
        Both = new("51440002", Code.Snomed, "Bilateral");

    public static void Map(DataSet target, SeriesFacts series, OpticValues values)
    {
        Code? site = values.CodeOf(ValueKeys.BodySite);
        BodyPart? part = site is { } code ? BodyParts.ByCode(code.Value) : null;
        string? side = values.One(ValueKeys.Side);
        string? BodyPartExamined = values.One(ValueKeys.BodyPart) ?? part?.Term;
        if (BodyPartExamined is { Length: > 0 })
        {
            target.Set(Tags.BodyPartExamined, BodyPartExamined);
        }

        MapSide(target, series, part is { IsPaired: false } && BodyPartExamined is { Length: > 0 }, side);

        if (site is { } region)
        {
            MapRegion(target, region, side, values);
        }

        SetIfAny(target, Tags.PrimaryAnatomicStructureSequence,
        [
            .. values.All(ValueKeys.Tooth).Select(tooth => Teeth.CodeOf(tooth).ToItem()),
            .. values.CodesOf(ValueKeys.Structures).Select(structure => structure.ToItem()),
        ]);
        MapView(target, values);
    }

    /// <summary>
    /// The side stands in Image Laterality for paired parts and for those of which a reader cannot tell that they are single (a site on the skin has no term of
    /// Body Part Examined); where such a part's side is unknown, Laterality stands empty (type 2C of PS3.3 section C.7.3.1, which lets it be there only
    /// where Image Laterality is not). An ophthalmic object always has its Image Laterality.
    /// </summary>
    private static void MapSide(DataSet target, SeriesFacts series, bool isSingle, string? side)
    {
        bool isEye = series.SOPClassUID == SopClasses.OphthalmicPhotography8BitImageStorage;
        if (isSingle && !isEye)
        {
            return;
        }

        if (side is not null)
        {
            target.Set(Tags.ImageLaterality, side);
        }
        else if (!isEye)
        {
            target.SetEmpty(Tags.Laterality);
        }
    }

    /// <summary>The code of R, L or B.</summary>
    public static Code SideCode(string side) => side switch { "R" => Right, "L" => Left, _ => Both };

    private static void MapRegion(DataSet target, Code region, string? side, OpticValues values)
    {
        DataSet item = region.ToItem();
        SetIfAny(item, Tags.AnatomicRegionModifierSequence,
        [
            .. side is null ? [] : new[] { SideCode(side).ToItem() },
            .. values.CodesOf(ValueKeys.BodySiteModifiers).Select(modifier => modifier.ToItem()),
        ]);
        target.SetItems(Tags.AnatomicRegionSequence, item);
    }

    private static void MapView(DataSet target, OpticValues values)
    {
        // The modifiers stand in the view's item, so without a view they have no place but with the one that says that it is not known (CID 4062).
        DataSet[] modifiers = [.. values.CodesOf(ValueKeys.ViewModifiers).Select(modifier => modifier.ToItem())];
        Code? view = values.CodeOf(ValueKeys.View) ?? (modifiers.Length > 0 ? ValueKeys.FindCode("410514004", [4062]) : null);
        if (view is { } known)
        {
            DataSet item = known.ToItem();
            SetIfAny(item, Tags.ViewModifierCodeSequence, modifiers);
            target.SetItems(Tags.ViewCodeSequence, item);
        }
    }

    private static void SetIfAny(DataSet target, Tag tag, DataSet[] items)
    {
        if (items.Length > 0)
        {
            target.SetItems(tag, items);
        }
    }
}
