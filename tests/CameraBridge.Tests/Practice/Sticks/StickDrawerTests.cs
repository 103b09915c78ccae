using System.Security.Cryptography;
using CameraBridge.Practice;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Meta;
using MetadataExtractor;
using MetadataExtractor.Formats.Exif;
using Xunit;

namespace CameraBridge.Tests.Practice.Sticks;

public sealed class StickDrawerTests : IDisposable
{
    private static readonly DateOnly Day = new(2026, 7, 6);

    private readonly string _root = System.IO.Directory.CreateTempSubdirectory("cb-stick-").FullName;

    public void Dispose() => System.IO.Directory.Delete(_root, recursive: true);

    [Fact]
    public void The_same_seed_and_day_draw_the_same_bytes_and_another_seed_does_not()
    {
        string[] first = Draw("a", 3);
        Assert.Equal(first, Draw("b", 3));
        Assert.NotEqual(first, Draw("c", 4));
        Assert.Equal(first.Length, first.Distinct().Count());
    }

    // An independent reader (MetadataExtractor) must find the times that the drawer's own Exif writer wrote. London is one hour ahead of UTC in July.
    [Fact]
    public void The_exif_times_are_read_by_an_independent_reader()
    {
        Draw("a", 3);
        string[] files = [.. System.IO.Directory.EnumerateFiles(Path.Combine(_root, "a"), "*.JPG", SearchOption.AllDirectories).Order(StringComparer.Ordinal)];
        ExifSubIfdDirectory first = ImageMetadataReader.ReadMetadata(files[0]).OfType<ExifSubIfdDirectory>().Single();
        // The first order is due at 08:45; its folder begins four minutes later.
        Assert.Equal("2026:07:06 08:49:12", first.GetString(ExifDirectoryBase.TagDateTimeOriginal));
        Assert.Equal("137", first.GetString(ExifDirectoryBase.TagSubsecondTimeOriginal));
        Assert.Null(first.GetString(0x9011));
        ExifSubIfdDirectory second = ImageMetadataReader.ReadMetadata(files[1]).OfType<ExifSubIfdDirectory>().Single();
        Assert.Equal("+01:00", second.GetString(0x9011));
        Assert.Equal("PracticeCam 1", ImageMetadataReader.ReadMetadata(files[1]).OfType<ExifIfd0Directory>().Single().GetString(ExifDirectoryBase.TagModel));
    }

    [Fact]
    public void Pictures_are_about_as_large_as_a_cameras()
    {
        foreach (Motif motif in Enum.GetValues<Motif>())
        {
            Assert.InRange(DrawnPicture.Draw(motif, 1).Length, 80_000, 160_000);
        }
    }

    [Fact]
    public void The_orders_of_a_stick_and_of_the_example_feed_the_practice_hospital()
    {
        IReadOnlyList<PracticeOrder> orders = PracticeOrders.Parse(StickOrders.Write(StickPlan.Clinic(Day).Orders), "orders.yaml");
        Assert.Equal(10, orders.Count);
        Assert.Equal("Öländer^Märta", orders[2].PatientName);
        Assert.Equal(2, PracticeOrders.Load(Path.Combine(Repository.Root, "deploy", "practice-orders.example.yaml")).Count);
    }

    [Fact]
    public void Any_number_of_folders_and_pictures_can_be_drawn_for_measuring()
    {
        StickPlan plan = StickPlan.Many(Day, folders: 3, pictures: 4);
        Assert.Equal([5, 5, 5], plan.Folders.Select(folder => folder.Shots.Count));
        Assert.Equal(12, plan.Truth.Filed.Sum(filed => filed.Pictures));
        Assert.Equal(3, plan.Orders.Select(order => order.PatientID).Distinct().Count());
    }

    [Fact]
    public void However_many_folders_they_are_of_one_day_each_after_its_order_is_due()
    {
        StickPlan plan = StickPlan.Many(Day, folders: 200, pictures: 49);
        Assert.All(plan.Folders.Zip(plan.Orders), pair => Assert.InRange(pair.First.Begins!.Value, pair.Second.ScheduledAt, Day.ToDateTime(new TimeOnly(20, 0))));
    }

    private string[] Draw(string name, int seed)
    {
        string folder = Path.Combine(_root, name);
        StickDrawer.Draw(StickPlan.Many(Day, folders: 2, pictures: 6), folder, seed, Day, TimeZoneInfo.FindSystemTimeZoneById("Europe/London"));
        return [.. System.IO.Directory.EnumerateFiles(folder, "*.JPG", SearchOption.AllDirectories).Order(StringComparer.Ordinal)
            .Select(path => Convert.ToHexString(SHA256.HashData(File.ReadAllBytes(path))))];
    }
}
