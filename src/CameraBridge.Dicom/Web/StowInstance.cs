using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Dicom.Web;

/// <summary>An object to store, as one part application/dicom (PS3.18 section 10.5.2): a whole PS3.10 file, streamed from where it is.</summary>
/// <param name="SOPClassUID">As in the data set.</param>
/// <param name="SOPInstanceUID">As in the data set; answers are laid beside it.</param>
/// <param name="File">The bytes of the file, preamble first.</param>
public sealed record StowInstance(string SOPClassUID, string SOPInstanceUID, PixelSource File)
{
    /// <summary>Puts preamble and file meta information before an encoded data set, which stays where it is.</summary>
    public static StowInstance FromDataSet(string SOPClassUID, string SOPInstanceUID, string TransferSyntaxUID, PixelSource dataSet) =>
        new(SOPClassUID, SOPInstanceUID, Part10File.Encode(new FileMeta(SOPClassUID, SOPInstanceUID, TransferSyntaxUID), dataSet));
}

/// <summary>An object to store as metadata with its pixels beside it (PS3.18 section 10.5.2), for servers that take that.</summary>
public sealed class StowMetadata
{
    /// <param name="dataSet">The object, with Pixel Data or Encapsulated Document in it.</param>
    /// <param name="transferSyntax">How its pixels are encoded.</param>
    /// <exception cref="ArgumentException">
    /// UIDs are missing, the transfer syntax has no media type (<see cref="BulkDataTypes"/>), or the pixels are compressed frames without one fragment each.
    /// </exception>
    public StowMetadata(DataSet dataSet, TransferSyntax transferSyntax)
    {
        ArgumentNullException.ThrowIfNull(dataSet);
        ArgumentNullException.ThrowIfNull(transferSyntax);
        SOPClassUID = dataSet.GetString(Tags.SOPClassUID) ?? throw new ArgumentException("The object has no SOP Class UID.", nameof(dataSet));
        SOPInstanceUID = dataSet.GetString(Tags.SOPInstanceUID) ?? throw new ArgumentException("The object has no SOP Instance UID.", nameof(dataSet));
        DataSet = dataSet;
        MediaType = BulkDataTypes.Find(transferSyntax)
            ?? throw new ArgumentException($"No media type for bulk data of {transferSyntax.Name} (PS3.18 Tables 8.7.3-4 and 8.7.3-5); send it as application/dicom.", nameof(transferSyntax));
        if (dataSet.TryFind(Tags.PixelData, out Element? pixels) && pixels.Encapsulated is { } encapsulated)
        {
            // A clip is one stream however it is divided; of stills each fragment must be a frame, or nobody can tell where one ends.
            bool isVideo = MediaType.StartsWith("video/", StringComparison.Ordinal);
            int frames = dataSet.GetInt32(Tags.NumberOfFrames) ?? 1;
            Frames = isVideo || frames == 1 ? [PixelSource.Concat(encapsulated.Fragments)]
                : encapsulated.Fragments.Count == frames ? encapsulated.Fragments
                : throw new ArgumentException("The frames have no fragment each; send the object as application/dicom.", nameof(dataSet));
        }
    }

    /// <summary>(0008,0016).</summary>
    public string SOPClassUID { get; }

    /// <summary>(0008,0018).</summary>
    public string SOPInstanceUID { get; }

    internal DataSet DataSet { get; }

    /// <summary>Of the compressed pixels, with its transfer syntax.</summary>
    internal string MediaType { get; }

    /// <summary>Compressed pixels: a part for each frame, or one for a whole clip, all under one location.</summary>
    internal IReadOnlyList<PixelSource> Frames { get; } = [];
}

/// <summary>
/// Media types of bulk data (PS3.18 Tables 8.7.3-4 and 8.7.3-5, edition 2024d). The transfer syntax is always named, since most types have another one for default:
/// image/jpeg alone would be JPEG Lossless.
/// </summary>
public static class BulkDataTypes
{
    /// <summary>Uncompressed bytes in little endian.</summary>
    public const string OctetStream = "application/octet-stream";

    /// <summary>The media type of pixels in a transfer syntax, with its parameter.</summary>
    /// <returns>Null where the tables have none; implicit and big endian are not allowed with web services (section 8.7.3).</returns>
    public static string? Find(TransferSyntax transferSyntax)
    {
        ArgumentNullException.ThrowIfNull(transferSyntax);
        string? type = transferSyntax.Uid switch
        {
            TransferSyntaxes.ExplicitVRLittleEndian or TransferSyntaxes.DeflatedExplicitVRLittleEndian => OctetStream,
            TransferSyntaxes.JPEGBaseline8Bit or TransferSyntaxes.JPEGExtended12Bit or TransferSyntaxes.JPEGLossless or TransferSyntaxes.JPEGLosslessSV1 => "image/jpeg",
            TransferSyntaxes.RLELossless => "image/dicom-rle",
            TransferSyntaxes.JPEGLSLossless or TransferSyntaxes.JPEGLSNearLossless => "image/jls",
            TransferSyntaxes.JPEG2000Lossless or TransferSyntaxes.JPEG2000 => "image/jp2",
            TransferSyntaxes.MPEG2MPML or TransferSyntaxes.MPEG2MPHL => "video/mpeg",
            TransferSyntaxes.MPEG4HP41 or TransferSyntaxes.MPEG4HP41BD or TransferSyntaxes.MPEG4HP422D or TransferSyntaxes.MPEG4HP423D
                or TransferSyntaxes.MPEG4HP42STEREO => "video/mp4",
            TransferSyntaxes.HEVCMP51 or TransferSyntaxes.HEVCM10P51 => "video/H265",
            _ => null,
        };
        return type is null or OctetStream ? type : $"{type}; transfer-syntax={transferSyntax.Uid}";
    }
}
