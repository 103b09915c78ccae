using System.Security.Cryptography;
using System.Text;
using CameraBridge.Dicom.Data;

namespace CameraBridge.Pipeline.Objects.Mapping;

/// <summary>UIDs that follow from another one, so that objects that are made later have the same: a UUID of version 8 (RFC 9562 section 5.8) of a hash of both.</summary>
internal static class DerivedUid
{
    public static string Of(string uid, string purpose)
    {
        byte[] bytes = SHA256.HashData(Encoding.ASCII.GetBytes($"{uid} {purpose}"))[..16];
        bytes[6] = (byte)((bytes[6] & 0x0F) | 0x80);
        bytes[8] = (byte)((bytes[8] & 0x3F) | 0x80);
        return Uids.FromUuid(new Guid(bytes, bigEndian: true));
    }
}
