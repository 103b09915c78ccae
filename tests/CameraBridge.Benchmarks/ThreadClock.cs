using System.Runtime.InteropServices;

namespace CameraBridge.Benchmarks;

/// <summary>Time that the calling thread spent on a processor (clock_gettime of POSIX.1-2017 with Linux's CLOCK_THREAD_CPUTIME_ID).</summary>
internal static partial class ThreadClock
{
    private const int ThreadProcessorTime = 3;

    public static double Milliseconds => GetTime(ThreadProcessorTime, out TimeSpec time) == 0
        ? (time.Seconds * 1e3) + (time.Nanoseconds / 1e6)
        : throw new InvalidOperationException("The processor time of the thread cannot be read.");

    [LibraryImport("libc", EntryPoint = "clock_gettime")]
    private static partial int GetTime(int clock, out TimeSpec time);

    private struct TimeSpec
    {
        public long Seconds;
        public long Nanoseconds;
    }
}
