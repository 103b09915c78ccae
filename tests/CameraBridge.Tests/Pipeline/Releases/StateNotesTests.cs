using CameraBridge.Configuration;
using CameraBridge.Pipeline.Releases;
using CameraBridge.Tests.Persistence;
using Microsoft.Extensions.Logging.Abstractions;
using Xunit;

namespace CameraBridge.Tests.Pipeline.Releases;

/// <summary>The note in the root of a stick says in words whether it may be wiped, and "safe" only of what was compared by its content.</summary>
public sealed class StateNotesTests : PictureOnStick
{
    private string Note => Path.Combine(Stick, StateNotes.FileName);

    [Fact]
    public async Task It_says_not_yet_and_then_safe_with_the_time_and_the_caution()
    {
        SourceConfiguration source = await TakeNotedAsync();
        await WriteAsync(source);
        Assert.StartsWith("NOT YET: 0 of 1 kept, 1 not delivered\r\nThis was so at 2026-11-25 08:00 +00:00. A picture that came later", File.ReadAllText(Note), StringComparison.Ordinal);

        await FlowSteps.KeepAsync(Database, "archive");
        await WriteAsync(source);

        Assert.StartsWith("Safe to wipe: all 1 pictures and clips on it are kept\r\n", File.ReadAllText(Note), StringComparison.Ordinal);
        Assert.Contains("is for the policy of your hospital to say", File.ReadAllText(Note), StringComparison.Ordinal);
        Assert.Equal([StateNotes.FileName, "1"], Directory.EnumerateFileSystemEntries(Path.GetDirectoryName(Note)!).Select(Path.GetFileName).Order(StringComparer.Ordinal).Reverse());
    }

    [Fact]
    public async Task It_never_says_safe_of_a_picture_that_was_changed_with_its_size_and_time_kept()
    {
        SourceConfiguration source = await TakeNotedAsync();
        await FlowSteps.KeepAsync(Database, "archive");
        DateTime modified = File.GetLastWriteTimeUtc(Taken);
        File.WriteAllBytes(Taken, [.. Picture.Reverse()]);
        File.SetLastWriteTimeUtc(Taken, modified);

        await WriteAsync(source);

        Assert.StartsWith("NOT YET: 0 of 1 kept, 1 not taken", File.ReadAllText(Note), StringComparison.Ordinal);
    }

    [Fact]
    public async Task It_is_not_written_again_while_it_says_the_same()
    {
        SourceConfiguration source = await TakeNotedAsync();
        await WriteAsync(source);
        string before = File.ReadAllText(Note);
        Clock.Advance(TimeSpan.FromHours(1));

        await WriteAsync(source);

        Assert.Equal(before, File.ReadAllText(Note));
    }

    [Fact]
    public async Task A_link_at_its_name_is_replaced_and_not_written_through()
    {
        SourceConfiguration source = await TakeNotedAsync();
        string outside = Path.Combine(Folder, "somebody.txt");
        File.WriteAllText(outside, "somebody's");
        File.CreateSymbolicLink(Note, outside);

        await WriteAsync(source);

        Assert.Equal("somebody's", File.ReadAllText(outside));
        Assert.Null(new FileInfo(Note).LinkTarget);
    }

    [Fact]
    public async Task A_source_that_wishes_none_gets_none()
    {
        SourceConfiguration source = await TakeNotedAsync() with { StateNote = false };

        await WriteAsync(source);

        Assert.False(File.Exists(Note));
    }

    private async Task<SourceConfiguration> TakeNotedAsync() => await TakeAsync("archive") with { StateNote = true };

    private Task WriteAsync(SourceConfiguration source) =>
        new StateNotes(Site() with { Sources = [source], TimeZone = TimeZoneInfo.Utc }, Database, Clock, NullLogger<StateNotes>.Instance).WriteAsync([source], Cancellation);
}
