using System.Security.Cryptography;
using CameraBridge.Configuration;
using CameraBridge.Persistence;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Releases;
using CameraBridge.Tests.Persistence;
using Microsoft.Extensions.Logging.Abstractions;
using Microsoft.Extensions.Time.Testing;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Releases;

/// <summary>The note in the root of a stick says in words whether it may be wiped, and "safe" only of what was compared by its content.</summary>
public sealed class StateNotesTests : IAsyncDisposable
{
    private static readonly byte[] Picture = [0xFF, 0xD8, 1, 2, 3, 0xFF, 0xD9];

    private readonly DirectoryInfo _folder = Directory.CreateTempSubdirectory("notes-");
    private readonly FakeTimeProvider _clock = new(new DateTimeOffset(2026, 11, 25, 8, 0, 0, TimeSpan.Zero));
    private IPipelineDatabase? _database;

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    private string Note => Path.Combine(_folder.FullName, "stick", StateNotes.FileName);

    public async ValueTask DisposeAsync()
    {
        await (_database?.DisposeAsync() ?? ValueTask.CompletedTask);
        _folder.Delete(recursive: true);
    }

    [Fact]
    public async Task It_says_not_yet_and_then_safe_with_the_time_and_the_caution()
    {
        SourceConfiguration source = await TakeAsync();
        await WriteAsync(source);
        Assert.StartsWith("NOT YET: 0 of 1 kept, 1 not delivered\r\nThis was so at 2026-11-25 08:00 +00:00. A picture that came later", File.ReadAllText(Note), StringComparison.Ordinal);

        await FlowSteps.KeepAsync(_database!, "archive");
        await WriteAsync(source);

        Assert.StartsWith("Safe to wipe: all 1 pictures and clips on it are kept\r\n", File.ReadAllText(Note), StringComparison.Ordinal);
        Assert.Contains("is for the policy of your hospital to say", File.ReadAllText(Note), StringComparison.Ordinal);
        Assert.Equal([StateNotes.FileName, "1"], Directory.EnumerateFileSystemEntries(Path.GetDirectoryName(Note)!).Select(Path.GetFileName).Order(StringComparer.Ordinal).Reverse());
    }

    [Fact]
    public async Task It_never_says_safe_of_a_picture_that_was_changed_with_its_size_and_time_kept()
    {
        SourceConfiguration source = await TakeAsync();
        await FlowSteps.KeepAsync(_database!, "archive");
        string picture = Path.Combine(source.Folder, "1", "a.jpg");
        DateTime modified = File.GetLastWriteTimeUtc(picture);
        File.WriteAllBytes(picture, [.. Picture.Reverse()]);
        File.SetLastWriteTimeUtc(picture, modified);

        await WriteAsync(source);

        Assert.StartsWith("NOT YET: 0 of 1 kept, 1 not taken", File.ReadAllText(Note), StringComparison.Ordinal);
    }

    [Fact]
    public async Task It_is_not_written_again_while_it_says_the_same()
    {
        SourceConfiguration source = await TakeAsync();
        await WriteAsync(source);
        string before = File.ReadAllText(Note);
        _clock.Advance(TimeSpan.FromHours(1));

        await WriteAsync(source);

        Assert.Equal(before, File.ReadAllText(Note));
    }

    [Fact]
    public async Task A_link_at_its_name_is_replaced_and_not_written_through()
    {
        SourceConfiguration source = await TakeAsync();
        string outside = Path.Combine(_folder.FullName, "somebody.txt");
        File.WriteAllText(outside, "somebody's");
        File.CreateSymbolicLink(Note, outside);

        await WriteAsync(source);

        Assert.Equal("somebody's", File.ReadAllText(outside));
        Assert.Null(new FileInfo(Note).LinkTarget);
    }

    [Fact]
    public async Task A_source_that_wishes_none_gets_none()
    {
        SourceConfiguration source = await TakeAsync() with { StateNote = false };

        await WriteAsync(source);

        Assert.False(File.Exists(Note));
    }

    private Task WriteAsync(SourceConfiguration source) =>
        new StateNotes(
            new SiteConfiguration { SpoolFolder = Path.GetTempPath(), StateFile = "", Sources = [source], TimeZone = TimeZoneInfo.Utc },
            _database!,
            _clock,
            NullLogger<StateNotes>.Instance).WriteAsync([source], Cancellation);

    private async Task<SourceConfiguration> TakeAsync()
    {
        string picture = Path.Combine(Directory.CreateDirectory(Path.Combine(_folder.FullName, "stick", "1")).FullName, "a.jpg");
        File.WriteAllBytes(picture, Picture);
        _database = await PipelineDatabase.OpenAsync(
            new SiteConfiguration { SpoolFolder = Path.GetTempPath(), StateFile = Path.Combine(_folder.FullName, "state.db") }, _clock, Cancellation);
        Capture capture = FlowSteps.Capture("1/a.jpg") with
        {
            Size = Picture.Length,
            Sha256 = Convert.ToHexStringLower(SHA256.HashData(Picture)),
            ModifiedAt = File.GetLastWriteTimeUtc(picture),
        };
        await FlowSteps.QueueAsync(_database, [capture], _ => [new StoredPiece([8, 0, 5, 0], null, 0, 4)], FlowSteps.TransferSyntaxUID, ["archive"]);
        return new SourceConfiguration { Name = "stick", Folder = Path.Combine(_folder.FullName, "stick"), StateNote = true };
    }
}
