using System.Globalization;
using System.Text;
using CameraBridge.Conformance;
using CameraBridge.Dicom.Part10;

namespace CameraBridge.Commands.Exports;

/// <summary>The text in the folder for whoever finds the stick. Names no patient; ASCII with line ends that every system shows.</summary>
internal static class Readme
{
    public static byte[] Write(ExportReply reply, DateTimeOffset now)
    {
        string[] lines =
        [
            "PATIENTS' PICTURES - CONFIDENTIAL",
            "",
            "This folder holds pictures and clips of patients with their names, in the DICOM",
            "format. Keep it locked up, give it only to those who treat these patients, and",
            "erase it when it is no longer needed. If you found it, bring it back to the",
            "hospital without opening it.",
            "",
            "To see or import the pictures, open the file DICOMDIR with a DICOM viewer or",
            "archive. Many look for it only at the top of a stick or disc: the contents of",
            "this folder then have to lie there. Do not rename, move or change single files.",
            "",
            "THIS IS A COPY AND PROVES NOTHING ABOUT THE ARCHIVE. Do not wipe a camera or a",
            "stick because of it. Once the archive is back, it gets the pictures from the",
            "gateway that wrote this folder; if this copy is imported too, the pictures have",
            "the same identifiers and are the same.",
            "",
            reply.WithinProfile
                ? $"Application profile: {MediaProfile.GeneralUsbJpeg} (DICOM PS3.11 Annex J)."
                : $"Application profile: none. It holds clips, which {MediaProfile.GeneralUsbJpeg} does\r\nnot take; readers that know stills alone will not show them.",
            string.Create(CultureInfo.InvariantCulture, $"File-set {reply.FileSetID}, {reply.Files} files, last written {now:yyyy-MM-dd HH:mm zzz}"),
            $"by CameraBridge {StatementText.Version}.",
            "",
        ];
        return Encoding.ASCII.GetBytes(string.Join("\r\n", lines));
    }
}
