namespace CameraBridge.Pipeline.Sittings;

/// <summary>Words for <see cref="Sitting.Begins"/>: why a sitting begins where it does.</summary>
internal static class SittingBegins
{
    /// <summary>With its folder.</summary>
    public const string Folder = "folder";

    /// <summary>With a label that differs from the one before it.</summary>
    public const string Label = "label";

    /// <summary>With a picture that could not be looked at and so may have been a label: whose the pictures after it are is not known.</summary>
    public const string Unreadable = "unreadable";

    /// <summary>After a card that says that the patient before is done.</summary>
    public const string Done = "done";

    /// <summary>After an earlier sitting of the same folder was closed; what that one was identified by does not reach here.</summary>
    public const string Late = "late";
}
