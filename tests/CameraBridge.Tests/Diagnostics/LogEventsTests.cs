using System.Reflection;
using CameraBridge.Commands;
using Microsoft.Extensions.Logging;
using Xunit;

namespace CameraBridge.Tests.Diagnostics;

/// <summary>Event ids are a contract with whoever filters logs: each once, and in the range of its area (the table is in Diagnostics/Logs.cs).</summary>
public sealed class LogEventsTests
{
    private static readonly (string Namespace, int First)[] Ranges =
    [
        ("CameraBridge.Pipeline.Captures", 1000),
        ("CameraBridge.Pipeline.Sittings", 1100),
        ("CameraBridge.Pipeline.Matches", 1200),
        ("CameraBridge.Pipeline.Objects", 1300),
        ("CameraBridge.Pipeline.Deliveries", 1400),
        ("CameraBridge.Pipeline.Confirmations", 1800),
        ("CameraBridge.Pipeline.Releases", 1900),
        ("CameraBridge.Pipeline.PerformedSteps", 2000),
        ("CameraBridge.Pipeline.Retention", 2100),
        ("CameraBridge.Persistence", 1500),
        ("CameraBridge.Pipeline", 1500),
        ("CameraBridge.Commands", 1600),
        ("CameraBridge.Practice", 1700),
        ("CameraBridge.WebConsole", 2200),
    ];

    private static readonly (MethodInfo Method, LoggerMessageAttribute Event)[] Events =
    [
        .. typeof(CommandLine).Assembly.GetTypes()
            .SelectMany(type => type.GetMethods(BindingFlags.Static | BindingFlags.Instance | BindingFlags.Public | BindingFlags.NonPublic | BindingFlags.DeclaredOnly))
            .Select(method => (method, method.GetCustomAttribute<LoggerMessageAttribute>()!))
            .Where(pair => pair.Item2 is not null),
    ];

    [Fact]
    public void Every_event_id_is_given_once()
    {
        Assert.NotEmpty(Events);
        Assert.Empty(Events.GroupBy(pair => pair.Event.EventId).Where(group => group.Count() > 1).Select(group => group.Key));
    }

    [Fact]
    public void Every_event_id_lies_in_the_range_of_its_area() => Assert.Empty(Events
        .Where(pair =>
        {
            int first = Ranges.First(range => pair.Method.DeclaringType!.FullName!.StartsWith(range.Namespace + ".", StringComparison.Ordinal)).First;
            return pair.Event.EventId < first || pair.Event.EventId > first + 99;
        })
        .Select(pair => $"{pair.Event.EventId} {pair.Method.DeclaringType!.Name}.{pair.Method.Name}"));

    [Fact]
    public void No_event_is_told_a_patient() => Assert.DoesNotContain(
        Events.SelectMany(pair => pair.Method.GetParameters()),
        parameter => parameter.Name!.Contains("patient", StringComparison.OrdinalIgnoreCase) || parameter.Name.Contains("birth", StringComparison.OrdinalIgnoreCase));

    [Fact]
    public void No_event_is_given_an_exception_whose_message_may_hold_anything() => Assert.DoesNotContain(
        Events.SelectMany(pair => pair.Method.GetParameters()),
        parameter => typeof(Exception).IsAssignableFrom(parameter.ParameterType));
}
