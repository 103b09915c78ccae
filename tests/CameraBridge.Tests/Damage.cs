namespace CameraBridge.Tests;

/// <summary>Hurts bytes as bad disks, bad lines and bad writers do; a seeded generator says how, so that a failure can be had again.</summary>
internal static class Damage
{
    /// <summary>Longest piece that is cut out, doubled or moved.</summary>
    private const int LongestPiece = 40;

    private static readonly byte[][] Extremes = [[0xFF], [0]];

    /// <summary>
    /// One to four hurts: a bit turned, a byte changed or set to an extreme, a piece cut out, doubled or moved; one time in four of the last kind the end cut off.
    /// </summary>
    /// <param name="original">The bytes; they stay as they are.</param>
    /// <param name="random">Decides.</param>
    /// <param name="extremes">Values that may hurt this form most, such as lengths; FFH and 00H when none is named.</param>
    public static byte[] Do(byte[] original, Random random, params byte[][] extremes)
    {
        extremes = extremes.Length == 0 ? Extremes : extremes;
        var bytes = new List<byte>(original);
        for (int hurts = random.Next(1, 5); hurts > 0 && bytes.Count > 8; hurts--)
        {
            int at = random.Next(bytes.Count);
            int length = random.Next(1, Math.Min(LongestPiece, bytes.Count - at) + 1);
            switch (random.Next(7))
            {
                case 0:
                    bytes[at] ^= (byte)(1 << random.Next(8));
                    break;
                case 1:
                    bytes[at] = (byte)random.Next(256);
                    break;
                case 2:
                    byte[] extreme = extremes[random.Next(extremes.Length)];
                    bytes.RemoveRange(at, Math.Min(extreme.Length, bytes.Count - at));
                    bytes.InsertRange(at, extreme);
                    break;
                case 3:
                    bytes.RemoveRange(at, length);
                    break;
                case 4:
                    bytes.InsertRange(at, bytes.GetRange(at, length));
                    break;
                case 5:
                    List<byte> piece = bytes.GetRange(at, length);
                    bytes.RemoveRange(at, length);
                    bytes.InsertRange(random.Next(bytes.Count + 1), piece);
                    break;
                default:
                    if (random.Next(4) == 0)
                    {
                        bytes.RemoveRange(at, bytes.Count - at);
                    }

                    break;
            }
        }

        return [.. bytes];
    }
}
