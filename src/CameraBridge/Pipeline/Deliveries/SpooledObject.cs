using CameraBridge.Dicom.Data;

namespace CameraBridge.Pipeline.Deliveries;

/// <summary>Turns an object's stored pieces into the bytes to send: literal ones, and ranges of files in the spool.</summary>
internal static class SpooledObject
{
    /// <param name="made">The object.</param>
    /// <param name="spoolFolder">Where the pixels lie.</param>
    /// <param name="link">Paces the bytes where they are to be sent; null where they are only read.</param>
    /// <exception cref="FileNotFoundException">A file of the spool is missing.</exception>
    /// <exception cref="EndOfStreamException">A file of the spool is shorter than it was.</exception>
    public static PixelSource Locate(ImagingObject made, string spoolFolder, LinkShare? link = null)
    {
        var parts = new List<PixelSource>(made.Pieces.Count);
        foreach (StoredPiece piece in made.Pieces)
        {
            if (piece.Bytes is { } bytes)
            {
                parts.Add(PixelSource.FromBytes(bytes));
                continue;
            }

            // Looked at before the first byte is sent: a message that cannot be ended costs the association.
            var file = new FileInfo(Path.Combine(spoolFolder, piece.SpoolName!));
            if (!file.Exists)
            {
                throw new FileNotFoundException("The spool file is missing.", file.FullName);
            }

            if (file.Length < piece.Offset + piece.Length)
            {
                throw new EndOfStreamException("The spool file is shorter than it was.");
            }

            parts.Add(PixelSource.FromFile(file.FullName, piece.Offset, piece.Length));
        }

        var located = PixelSource.Concat(parts);
        return link is null ? located : located.Paced((bytes, cancellation) => link.TakeAsync(bytes, made.IsClip, cancellation));
    }
}
