namespace CameraBridge.Tests.Dicom.Bitstreams;

/// <summary>Files for one run of the tests, in a folder that goes when the run ends.</summary>
internal static class TestFiles
{
    private static readonly DirectoryInfo Folder = CreateFolder();

    /// <summary>Writes a file under a name of its own.</summary>
    public static string Write(byte[] bytes)
    {
        string path = Path.Combine(Folder.FullName, $"{Guid.NewGuid():N}.jpg");
        File.WriteAllBytes(path, bytes);
        return path;
    }

    private static DirectoryInfo CreateFolder()
    {
        DirectoryInfo folder = Directory.CreateTempSubdirectory("pictures-");
        AppDomain.CurrentDomain.ProcessExit += (_, _) => folder.Delete(recursive: true);
        return folder;
    }
}
