using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Dictionary;

/// <summary>A row of the registry of data elements (PS3.6 sections 6 to 9, and PS3.7 Annex E for commands; edition 2025e).</summary>
/// <param name="Tag">The tag asked for; for a repeating group the lowest tag of the row, when found by keyword.</param>
/// <param name="Keyword">The keyword; empty for the few elements whose keyword the standard withdrew.</param>
/// <param name="Vr">The first, or only, value representation; <see cref="Vr.None"/> for items and delimiters. What a "US or SS" element is
/// in a given data set, <see cref="TagEntry.VrIn"/> tells.</param>
/// <param name="Vrs">All value representations that the row allows, in its order.</param>
/// <param name="Vm">The value multiplicity as written there, such as "1", "1-n", "2-2n".</param>
/// <param name="Name">The name.</param>
/// <param name="Retired">True when marked as retired.</param>
public sealed record TagEntry(Tag Tag, string Keyword, Vr Vr, IReadOnlyList<Vr> Vrs, string Vm, string Name, bool Retired)
{
    /// <summary>
    /// The representation where an implicit data set does not say (PS3.5 section A.1, edition 2025e): of "US or SS" the one that Pixel
    /// Representation (0028,0103) calls for; look-up table data with both US and OW is OW, since it may be longer than a short length can tell;
    /// "OB or OW" is OW, as that syntax has Pixel Data, Overlay Data and the like.
    /// </summary>
    /// <param name="signedPixels">True when Pixel Representation is 1 in the data set or, absent there, in one that holds it.</param>
    public Vr VrIn(bool signedPixels) => Vrs.Count switch
    {
        1 or 0 => Vr,
        _ when Vrs.Contains(Vr.OW) => Vr.OW,
        _ when Vrs.Contains(Vr.SS) => signedPixels ? Vr.SS : Vr.US,
        _ => Vr,
    };
}
