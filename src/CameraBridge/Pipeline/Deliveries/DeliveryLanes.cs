namespace CameraBridge.Pipeline.Deliveries;

/// <summary>The lanes of one destination: stills in the one that bears its name, clips in another, so that a large clip holds up no still.</summary>
internal static class DeliveryLanes
{
    /// <summary>The lane of clips; no name of a destination has a space.</summary>
    public static string ClipsOf(string destination) => $"{destination} clips";
}
