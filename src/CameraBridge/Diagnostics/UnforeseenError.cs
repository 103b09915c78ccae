using System.Text;

namespace CameraBridge.Diagnostics;

/// <summary>
/// What may be told of an error that nobody foresaw: its kinds and where it came from. Its message may hold anything, a patient's data too, and is left out.
/// </summary>
internal static class UnforeseenError
{
    /// <summary>Kind and stack of the error and of those behind it, without their messages.</summary>
    public static string Describe(Exception error)
    {
        StringBuilder text = new();
        for (Exception? current = error; current is not null; current = current.InnerException)
        {
            text.Append(text.Length > 0 ? Environment.NewLine + "caused by " : "").Append(current.GetType().FullName);
            if (current.StackTrace is { } stack)
            {
                text.Append(Environment.NewLine).Append(stack);
            }
        }

        return text.ToString();
    }
}
