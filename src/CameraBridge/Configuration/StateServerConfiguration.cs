namespace CameraBridge.Configuration;

/// <summary>How the connection with the state's server is kept from others.</summary>
internal enum StateTls
{
    /// <summary>The server shows a certificate for its name by an authority that is trusted.</summary>
    Verify,

    /// <summary>Encrypted, with whatever certificate the server shows.</summary>
    Require,

    /// <summary>Not at all.</summary>
    Off,
}

/// <summary>A PostgreSQL server that holds the state of several workers. The password is named by its place and never held here.</summary>
internal sealed record StateServerConfiguration
{
    /// <summary>Name or address of the machine, or the folder of its Unix socket.</summary>
    public required string Host { get; init; }

    public int Port { get; init; } = 5432;

    public string Database { get; init; } = "camerabridge";

    public string User { get; init; } = "camerabridge";

    /// <summary>Null where the server trusts this machine's users.</summary>
    public SecretPlace? Password { get; init; }

    public StateTls Tls { get; init; } = StateTls.Verify;

    /// <summary>PEM file of the authorities to trust instead of the system's; null for the system's.</summary>
    public string? Authorities { get; init; }

    /// <summary>Most connections of this worker.</summary>
    public int PoolSize { get; init; } = 10;

    /// <summary>Whether no network lies between.</summary>
    public bool IsOnThisMachine => Host.StartsWith('/') || Host == "localhost" || (System.Net.IPAddress.TryParse(Host, out System.Net.IPAddress? address) && System.Net.IPAddress.IsLoopback(address));

    /// <summary>As messages name it.</summary>
    public override string ToString() => FormattableString.Invariant($"PostgreSQL {Host}:{Port}/{Database}");
}
