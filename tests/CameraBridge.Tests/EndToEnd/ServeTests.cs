using CameraBridge.Commands;
using CameraBridge.Practice.Sticks;
using CameraBridge.Tests.Commands;
using Xunit;

namespace CameraBridge.Tests.EndToEnd;

/// <summary>The service, in this process: takes what lies in its source, and ends decently when told to.</summary>
public sealed class ServeTests
{
    private static readonly TimeSpan DeliveryLimit = TimeSpan.FromMinutes(2);

    private static CancellationToken Cancellation => TestContext.Current.CancellationToken;

    [Fact]
    public async Task The_service_delivers_what_its_source_holds_and_ends_with_exit_code_0()
    {
        await using DemoStick demo = await DemoStick.CreateAsync(Cancellation, StickPlan.Many(DemoStick.Day, folders: 2, pictures: 2));
        await demo.WriteConfigAsync(Cancellation);
        using CancellationTokenSource told = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        Task<TestTerminal> service = TestTerminal.RunAsync(told.Token, "serve", "--config", demo.Config, "--log-level", "error");

        await UntilAsync(() => Directory.EnumerateFiles(demo.Archive, "*.dcm").Count() == 4 || service.IsCompleted);
        await told.CancelAsync();
        TestTerminal run = await service;

        Assert.Equal("", run.Error);
        Assert.Equal(0, run.ExitCode);
        (TestTerminal after, OnceReply reply) = await demo.OnceAsync(Cancellation);
        Assert.Equal(0, after.ExitCode);
        Assert.Equal((0, 6), (reply.Taken, reply.Known));
        Assert.All(await StickComparison.CompareAsync(demo.Plan.Truth, reply, demo.Archive, Cancellation), line => Assert.True(line.Good));
    }

    private static async Task UntilAsync(Func<bool> condition)
    {
        using CancellationTokenSource limit = CancellationTokenSource.CreateLinkedTokenSource(Cancellation);
        limit.CancelAfter(DeliveryLimit);
        using PeriodicTimer look = new(TimeSpan.FromMilliseconds(100));
        while (!condition() && await look.WaitForNextTickAsync(limit.Token))
        {
        }
    }
}
