using System.Reflection;
using CameraBridge.Persistence;

namespace CameraBridge.Tests.Pipeline.Captures;

/// <summary>A state of which one method fails for the first few calls, as when its disk is full.</summary>
public class FailingDatabase : DispatchProxy
{
    private object _inner = null!;
    private string _method = "";
    private int _failures;

    internal static IPipelineDatabase Around(IPipelineDatabase inner, string method, int failures)
    {
        IPipelineDatabase proxy = Create<IPipelineDatabase, FailingDatabase>();
        var failing = (FailingDatabase)(object)proxy;
        failing._inner = inner;
        failing._method = method;
        failing._failures = failures;
        return proxy;
    }

    protected override object? Invoke(MethodInfo? targetMethod, object?[]? args)
    {
        if (targetMethod!.Name == _method && Interlocked.Decrement(ref _failures) >= 0)
        {
            throw new StateUnavailableException("The state is full.");
        }

        return targetMethod.Invoke(_inner, args);
    }
}
