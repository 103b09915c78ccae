using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Sittings;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Sittings;

/// <summary>In which order pictures were taken. That cameras count on over clock changes, and begin again at 0001, is common practice (DCF), no source.</summary>
public sealed class CaptureOrderTests
{
    private static readonly DateTimeOffset Start = new(2026, 11, 25, 9, 0, 0, TimeSpan.Zero);

    private static readonly HashSet<long> All = [.. Enumerable.Range(0, 100).Select(i => (long)i)];

    [Theory]
    [InlineData("IMG_2.JPG", "IMG_10.JPG")]
    [InlineData("IMG_2.JPG", "img_010.jpg")]
    [InlineData("9_label.jpg", "10_ear.jpg")]
    [InlineData("20261125_235900.jpg", "20261126_000100.jpg")]
    [InlineData("IMG_0001.JPG", "MOV_0002.MP4")]
    [InlineData("MOV_0001.MP4", "IMG_0002.JPG")]
    public void Numbered_names_win_over_a_clock_that_jumps_back(string first, string second)
    {
        (IReadOnlyList<Capture> order, string? doubt) = CaptureOrder.Of([At(second, 0), At(first, 3600)], All);

        Assert.Equal([first, second], Names(order));
        Assert.Null(doubt);
    }

    [Fact]
    public void File_times_change_nothing_about_numbered_names()
    {
        (IReadOnlyList<Capture> order, string? doubt) = CaptureOrder.Of([At("DSC_3.JPG", 0, "file"), At("DSC_1.JPG", 2, "file"), At("DSC_2.JPG", 0, "file")], All);

        Assert.Equal(["DSC_1.JPG", "DSC_2.JPG", "DSC_3.JPG"], Names(order));
        Assert.Null(doubt);
    }

    [Fact]
    public void A_counter_that_ran_over_goes_on_at_the_beginning()
    {
        (IReadOnlyList<Capture> order, string? doubt) = CaptureOrder.Of(
            [At("IMG_0001.JPG", 20), At("IMG_9998.JPG", 0), At("IMG_0002.JPG", 30), At("IMG_9999.JPG", 10)], All);

        Assert.Equal(["IMG_9998.JPG", "IMG_9999.JPG", "IMG_0001.JPG", "IMG_0002.JPG"], Names(order));
        Assert.Null(doubt);
    }

    [Fact]
    public void A_gap_that_the_times_explain_is_no_overrun()
    {
        (IReadOnlyList<Capture> order, string? doubt) = CaptureOrder.Of([At("IMG_9998.JPG", 90), At("IMG_0001.JPG", 0), At("IMG_0002.JPG", 30)], All);

        Assert.Equal(["IMG_0001.JPG", "IMG_0002.JPG", "IMG_9998.JPG"], Names(order));
        Assert.Null(doubt);
    }

    [Fact]
    public void An_overrun_that_the_times_do_not_explain_is_in_doubt()
    {
        (_, string? doubt) = CaptureOrder.Of([At("IMG_9998.JPG", 20), At("IMG_0001.JPG", 0), At("IMG_0002.JPG", 30)], All);

        Assert.Contains("counter may have begun again", doubt, StringComparison.Ordinal);
    }

    [Fact]
    public void Names_without_numbers_leave_it_to_the_times()
    {
        (IReadOnlyList<Capture> order, string? doubt) = CaptureOrder.Of([At("ear.jpg", 30), At("wound.jpg", 10), At("label.jpg", 0)], All);

        Assert.Equal(["label.jpg", "wound.jpg", "ear.jpg"], Names(order));
        Assert.Null(doubt);
    }

    [Theory]
    [InlineData("exif-local", 0, true)]
    [InlineData("exif-local", 1, false)]
    [InlineData("file", 2, true)]
    [InlineData("file", 3, false)]
    public void Without_numbers_a_label_as_old_as_its_neighbour_is_in_doubt(string origin, int secondsApart, bool inDoubt)
    {
        (_, string? doubt) = CaptureOrder.Of([At("ear.jpg", 10 + secondsApart, origin), At("label.jpg", 10, origin)], All);

        Assert.Equal(inDoubt, doubt is not null);
    }

    [Fact]
    public void Equal_times_of_two_pictures_that_are_no_labels_matter_to_nobody()
    {
        (IReadOnlyList<Capture> order, string? doubt) = CaptureOrder.Of([At("b.jpg", 0), At("a.jpg", 0)], new HashSet<long>());

        Assert.Equal(["a.jpg", "b.jpg"], Names(order));
        Assert.Null(doubt);
    }

    [Fact]
    public void Two_cameras_with_the_same_numbers_leave_it_to_the_times()
    {
        (IReadOnlyList<Capture> order, _) = CaptureOrder.Of([At("IMG_0001.JPG", 20), At("DSC_0001.JPG", 30), At("IMG_0002.JPG", 10)], All);

        Assert.Equal(["IMG_0002.JPG", "IMG_0001.JPG", "DSC_0001.JPG"], Names(order));
    }

    [Fact]
    public void Natural_order_is_a_total_order()
    {
        string[] names = ["a", "A", "a1", "a01", "a10", "a2", "", "1", "01", "b/1", "b/10", "b/2", "ä", "a1b", "a1a"];

        foreach (string a in names)
        {
            foreach (string b in names)
            {
                Assert.Equal(-Math.Sign(PlaceOrder.Natural.Compare(b, a)), Math.Sign(PlaceOrder.Natural.Compare(a, b)));
                Assert.Equal(a == b, PlaceOrder.Natural.Compare(a, b) == 0);
                foreach (string c in names)
                {
                    bool transitive = PlaceOrder.Natural.Compare(a, b) > 0 || PlaceOrder.Natural.Compare(b, c) > 0 || PlaceOrder.Natural.Compare(a, c) <= 0;
                    Assert.True(transitive, $"{a}, {b}, {c}");
                }
            }
        }
    }

    private static Capture At(string name, int seconds, string origin = "exif-local") => new()
    {
        Id = 1,
        Source = "stick",
        Place = "100/" + name,
        Folder = "100",
        Sha256 = "",
        SpoolName = "",
        TakenAt = Start.AddSeconds(seconds),
        TakenAtOrigin = origin,
    };

    private static IEnumerable<string> Names(IEnumerable<Capture> captures) => captures.Select(capture => capture.Place["100/".Length..]);
}
