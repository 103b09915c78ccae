using System.Net;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;

namespace CameraBridge.Tests.Peers;

/// <summary>An invented certificate authority, and certificates of it for a day, in memory and as PEM files.</summary>
internal sealed class TestAuthority : IDisposable
{
    public TestAuthority(string name = "Invented Authority") => Certificate = Certify($"CN={name}", null);

    /// <summary>The authority's own.</summary>
    public X509Certificate2 Certificate { get; }

    /// <summary>A certificate with its key, for localhost and 127.0.0.1 where it is shown by a server.</summary>
    public X509Certificate2 Certify(string name) => Certify($"CN={name}", Certificate);

    /// <summary>Writes the authority's certificate.</summary>
    /// <returns>The file.</returns>
    public string Write(string folder)
    {
        string file = Path.Combine(folder, $"{Guid.NewGuid():N}-authority.pem");
        File.WriteAllText(file, Certificate.ExportCertificatePem());
        return file;
    }

    /// <summary>Writes a new certificate and its key.</summary>
    public (string Certificate, string Key) Write(string folder, string name)
    {
        using X509Certificate2 certificate = Certify(name);
        using ECDsa key = certificate.GetECDsaPrivateKey()!;
        (string Certificate, string Key) files = (Path.Combine(folder, $"{Guid.NewGuid():N}-{name}.pem"), Path.Combine(folder, $"{Guid.NewGuid():N}-{name}.key"));
        File.WriteAllText(files.Certificate, certificate.ExportCertificatePem());
        File.WriteAllText(files.Key, key.ExportPkcs8PrivateKeyPem());
        return files;
    }

    public void Dispose() => Certificate.Dispose();

    private static X509Certificate2 Certify(string name, X509Certificate2? issuer)
    {
        using var key = ECDsa.Create(ECCurve.NamedCurves.nistP256);
        var request = new CertificateRequest(name, key, HashAlgorithmName.SHA256);
        request.CertificateExtensions.Add(new X509BasicConstraintsExtension(issuer is null, false, 0, true));
        DateTimeOffset from = issuer?.NotBefore ?? DateTimeOffset.UtcNow.AddHours(-1), until = issuer?.NotAfter ?? from.AddDays(1);
        if (issuer is null)
        {
            return request.CreateSelfSigned(from, until);
        }

        var names = new SubjectAlternativeNameBuilder();
        names.AddDnsName("localhost");
        names.AddIpAddress(IPAddress.Loopback);
        request.CertificateExtensions.Add(names.Build());
        using X509Certificate2 bare = request.Create(issuer, from, until, RandomNumberGenerator.GetBytes(8));
        return bare.CopyWithPrivateKey(key);
    }
}
