using CameraBridge.Pipeline.Sittings.Cues.Labels;
using ZXing;
using ZXing.Common;

namespace CameraBridge.Pipeline.Sittings.Cues.Codes;

/// <summary>PDF417 and Aztec Code by the library's own search, one code a part: only for sites whose patterns ask for them.</summary>
internal sealed class RareSearch(IReadOnlyList<RareCode> codes)
{
    private readonly MultiFormatReader _reader = new();

    private readonly Dictionary<DecodeHintType, object> _hints = new()
    {
        [DecodeHintType.TRY_HARDER] = true,
        [DecodeHintType.POSSIBLE_FORMATS] = codes.Select(code => code == RareCode.Pdf417 ? BarcodeFormat.PDF_417 : BarcodeFormat.AZTEC).ToArray(),
    };

    /// <summary>Reads the code in a part of a picture, as it lies and turned by eighths of a turn, which is as askew as the library reads.</summary>
    /// <returns>Its corners are those of the part: the library tells too little of them.</returns>
    public FoundCode? Read(GreyPicture part)
    {
        foreach (double angle in new[] { 0.0, 45, -22.5, 22.5 })
        {
            var bitmap = new BinaryBitmap(new HybridBinarizer(angle == 0 ? part : part.Rotate(angle)));
            if (_reader.decode(bitmap, _hints) is { Text.Length: > 0 } result)
            {
                return new FoundCode(CodeMark.TextOf(result), result.BarcodeFormat, [(0, 0), (part.Width, 0), (part.Width, part.Height), (0, part.Height)]);
            }
        }

        return null;
    }
}
