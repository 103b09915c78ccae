using CameraBridge.Configuration;
using CameraBridge.Dicom.Bitstreams;
using CameraBridge.Pipeline.Objects.Clips;
using CameraBridge.Pipeline.Objects.Optics;
using CameraBridge.Pipeline.Objects.Stills;

namespace CameraBridge.Pipeline.Objects;

/// <summary>What a camera file gives to its object's Pixel Data, and the spool for what has to be made for it.</summary>
internal sealed class CaptureContents : IDisposable
{
    private readonly DerivedFiles derivedFiles;
    private readonly StillPreparation stills;
    private readonly ClipPreparation clips;

    public CaptureContents(SiteConfiguration site, TimeProvider clock)
    {
        derivedFiles = new DerivedFiles(site.SpoolFolder);
        stills = new StillPreparation(derivedFiles);
        clips = new ClipPreparation(
            site.Clips, derivedFiles, Ffmpeg.Find(site.Clips.Ffmpeg, clock), site.Destinations.All(destination => destination.FragmentableVideo));
    }

    /// <summary>
    /// A still of an eye. A second lossy compression would make its object DERIVED, and a derived one must say of which object (PS3.3 section C.8.17.2): the
    /// camera's file is none. So it is stored uncompressed where it cannot be turned without loss.
    /// </summary>
    /// <exception cref="IOException">The file cannot be read.</exception>
    /// <exception cref="Persistence.StateUnavailableException">The spool takes no made file now.</exception>
    public ContentOutcome ReadEye(string path, CancellationToken cancellation) =>
        stills.Prepare(path, JpegHeader.ReadFile(path), cancellation, mayLoseAgain: false);

    /// <param name="kind">Still or clip.</param>
    /// <param name="path">The file in the spool, by absolute path.</param>
    /// <param name="cancellation">Ends it early.</param>
    /// <exception cref="IOException">The file cannot be read.</exception>
    /// <exception cref="Persistence.StateUnavailableException">The spool takes no made file now.</exception>
    public ContentOutcome Read(CaptureKind kind, string path, CancellationToken cancellation) => kind == CaptureKind.Still
        ? stills.Prepare(path, JpegHeader.ReadFile(path), cancellation)
        : clips.Prepare(path, cancellation);

    public void Dispose()
    {
        clips.Dispose();
        derivedFiles.Dispose();
    }
}
