using System.Security.Cryptography;
using CameraBridge.Persistence;
using CameraBridge.Pipeline.Objects;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Objects;

public sealed class DerivedFilesTests : IDisposable
{
    private readonly DirectoryInfo folder = Directory.CreateTempSubdirectory("derived-");

    private string Spool => Path.Combine(folder.FullName, "spool");

    public void Dispose() => folder.Delete(recursive: true);

    [Fact]
    public void A_kept_file_lies_under_its_own_hash_where_captures_lie()
    {
        using var files = new DerivedFiles(Spool);
        using DerivedFile file = files.Create(3);
        file.Write(stream =>
        {
            stream.Write([1, 2, 3]);
            return 0;
        });

        string path = file.Keep();

        string sha256 = Convert.ToHexStringLower(SHA256.HashData([1, 2, 3]));
        Assert.Equal(Path.Combine(Spool, sha256[..1], sha256), path);
        file.Dispose();
        Assert.Equal([1, 2, 3], File.ReadAllBytes(path));
    }

    [Fact]
    public void A_file_that_is_not_kept_leaves_nothing()
    {
        using var files = new DerivedFiles(Spool);
        string path;
        using (DerivedFile file = files.Create(3))
        {
            path = file.Path;
            File.WriteAllBytes(path, [1]);
        }

        Assert.False(File.Exists(path));
    }

    [Fact]
    public void What_a_crash_left_unfinished_goes_with_the_next_start()
    {
        // As a process that died leaves it: its folder, its temporary file, and a lock that nobody holds.
        string run = Directory.CreateDirectory(Path.Combine(Spool, "incoming", Guid.NewGuid().ToString("N"))).FullName;
        string left = Path.Combine(run, "1.part");
        File.WriteAllBytes(left, [1]);
        File.WriteAllBytes(Path.Combine(run, "lock"), []);

        using var next = new DerivedFiles(Spool);
        using DerivedFile file = next.Create(1);

        Assert.False(File.Exists(left));
    }

    [Fact]
    public void A_spool_that_takes_nothing_is_trouble_of_the_state_and_not_of_the_picture()
    {
        File.WriteAllText(Path.Combine(folder.FullName, "file"), "");
        using var files = new DerivedFiles(Path.Combine(folder.FullName, "file", "spool"));

        var trouble = Assert.Throws<StateUnavailableException>(() => files.Create(1));

        Assert.Contains("spool", trouble.Message, StringComparison.Ordinal);
    }
}
