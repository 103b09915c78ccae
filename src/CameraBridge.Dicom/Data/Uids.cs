using System.Globalization;
using System.Numerics;

namespace CameraBridge.Dicom.Data;

/// <summary>Unique identifiers as text (PS3.5 chapter 9 and annex B, edition 2025e).</summary>
public static class Uids
{
    /// <summary>Most characters of a UID (PS3.5 section 9.1).</summary>
    public const int MaximumLength = 64;

    /// <summary>A new UID from a random UUID, "2.25." and up to 39 digits: for instances, not for classes (PS3.5 section B.2).</summary>
    public static string NewFromUuid() => FromUuid(Guid.NewGuid());

    /// <summary>The UID of a UUID: "2.25." and its 128 bits, most significant first, as a decimal number (PS3.5 section B.2, ISO/IEC 9834-8).</summary>
    public static string FromUuid(Guid uuid)
    {
        Span<byte> bytes = stackalloc byte[16];
        uuid.TryWriteBytes(bytes, bigEndian: true, out _);
        return "2.25." + new BigInteger(bytes, isUnsigned: true, isBigEndian: true).ToString(CultureInfo.InvariantCulture);
    }

    /// <summary>
    /// True for digits in components parted by single dots, no component with a leading zero, 64 characters at most (PS3.5 section 9.1). A root
    /// arc above 2, or a lone component, has no meaning in ISO/IEC 8824 and is not valid either.
    /// </summary>
    public static bool IsValid(string? uid)
    {
        if (string.IsNullOrEmpty(uid) || uid.Length > MaximumLength || uid[0] > '2' || !uid.Contains('.', StringComparison.Ordinal))
        {
            return false;
        }

        int start = 0;
        for (int at = 0; at <= uid.Length; at++)
        {
            if (at < uid.Length && uid[at] != '.')
            {
                if (!char.IsAsciiDigit(uid[at]))
                {
                    return false;
                }

                continue;
            }

            if (at == start || (uid[start] == '0' && at > start + 1))
            {
                return false;
            }

            if (start == 0 && at != 1)
            {
                return false;
            }

            start = at + 1;
        }

        return true;
    }
}
