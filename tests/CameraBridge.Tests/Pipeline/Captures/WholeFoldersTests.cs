using CameraBridge.Pipeline.Captures;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Captures;

public sealed class WholeFoldersTests
{
    [Fact]
    public void A_folder_is_whole_with_its_last_file()
    {
        WholeFolders folders = new(["1/a.jpg", "1/b.jpg", "2/a.jpg"]);

        Assert.Null(folders.Took("1/b.jpg"));
        Assert.Equal("1", folders.Took("1/a.jpg"));
        Assert.Equal("2", folders.Took("2/a.jpg"));
    }

    [Fact]
    public void A_folder_is_not_whole_while_one_below_it_is_not()
    {
        WholeFolders folders = new(["1/a.jpg", "1/deep/b.jpg", "1/deep/c.jpg"]);

        Assert.Null(folders.Took("1/a.jpg"));
        Assert.Null(folders.Took("1/deep/b.jpg"));
        Assert.Equal("1", folders.Took("1/deep/c.jpg"));
    }

    [Fact]
    public void The_sources_own_folder_is_left_to_the_end_of_the_pass()
    {
        Assert.Null(new WholeFolders(["a.jpg"]).Took("a.jpg"));
    }
}
