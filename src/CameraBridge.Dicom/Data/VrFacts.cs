namespace CameraBridge.Dicom.Data;

/// <summary>What Table 6.2-1 and section 7.1.2 of PS3.5 (edition 2025e) say of each value representation.</summary>
public static class VrFacts
{
    /// <summary>True when the explicit encoding has two reserved bytes and a 32-bit length (PS3.5 Table 7.1-1).</summary>
    public static bool HasLongLength(this Vr vr) => vr is
        Vr.OB or Vr.OD or Vr.OF or Vr.OL or Vr.OV or Vr.OW or Vr.SQ or Vr.SV or Vr.UC or Vr.UN or Vr.UR or Vr.UT or Vr.UV;

    /// <summary>True when the value is text, of the default repertoire or of the specific character set.</summary>
    public static bool IsText(this Vr vr) => vr is
        Vr.AE or Vr.AS or Vr.CS or Vr.DA or Vr.DS or Vr.DT or Vr.IS or Vr.TM or Vr.UI or Vr.UR || vr.UsesCharacterSet();

    /// <summary>True when Specific Character Set (0008,0005) governs the value (PS3.5 section 6.1.2.2).</summary>
    public static bool UsesCharacterSet(this Vr vr) => vr is
        Vr.LO or Vr.LT or Vr.PN or Vr.SH or Vr.ST or Vr.UC or Vr.UT;

    /// <summary>True when a backslash is part of the text and not a delimiter of values.</summary>
    public static bool IsSingleText(this Vr vr) => vr is Vr.LT or Vr.ST or Vr.UT or Vr.UR;

    /// <summary>The byte that makes an odd value even: 00H for UIDs and bytes, a space for text (PS3.5 section 6.2).</summary>
    public static byte PaddingByte(this Vr vr) => vr.IsText() && vr != Vr.UI ? (byte)' ' : (byte)0;

    /// <summary>Bytes of one binary value, the unit that byte order swaps; 1 for text, bytes and sequences.</summary>
    public static int UnitSize(this Vr vr) => vr switch
    {
        Vr.AT or Vr.OW or Vr.SS or Vr.US => 2,
        Vr.FL or Vr.OF or Vr.OL or Vr.SL or Vr.UL => 4,
        Vr.FD or Vr.OD or Vr.OV or Vr.SV or Vr.UV => 8,
        _ => 1,
    };

    /// <summary>True for the thirty-four representations of Table 6.2-1.</summary>
    public static bool IsKnown(this Vr vr) => vr is
        Vr.AE or Vr.AS or Vr.AT or Vr.CS or Vr.DA or Vr.DS or Vr.DT or Vr.FD or Vr.FL or Vr.IS or Vr.LO or Vr.LT or Vr.OB or Vr.OD or Vr.OF
        or Vr.OL or Vr.OV or Vr.OW or Vr.PN or Vr.SH or Vr.SL or Vr.SQ or Vr.SS or Vr.ST or Vr.SV or Vr.TM or Vr.UC or Vr.UI or Vr.UL or Vr.UN
        or Vr.UR or Vr.US or Vr.UT or Vr.UV;
}
