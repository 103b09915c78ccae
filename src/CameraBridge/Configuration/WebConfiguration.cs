namespace CameraBridge.Configuration;

/// <summary>How objects are sent to a web server.</summary>
internal enum WebForm
{
    /// <summary>Whole files, one part each (PS3.18 section 10.5.2).</summary>
    Dicom,

    /// <summary>Metadata in JSON and the pixels beside it, for servers that take that.</summary>
    Metadata,
}

/// <summary>The version of HTTP that is asked for.</summary>
internal enum WebVersion
{
    /// <summary>2 where the server offers it over TLS, else 1.1.</summary>
    Auto,

    /// <summary>1.1 always.</summary>
    One,

    /// <summary>2 always, without TLS too.</summary>
    Two,
}

/// <summary>An archive or a worklist reached by DICOMweb; what is said of sending is for archives. Secrets are named by their place and never held here.</summary>
internal sealed record WebConfiguration
{
    /// <summary>Short name for messages.</summary>
    public required string Name { get; init; }

    /// <summary>Root of its services (PS3.18 section 8.2); /studies and the rest stand below.</summary>
    public required Uri Url { get; init; }

    /// <summary>User for Basic (RFC 7617), with <see cref="Password"/>; null for none.</summary>
    public string? User { get; init; }

    public SecretPlace? Password { get; init; }

    /// <summary>A bearer token that somebody else keeps fresh; null for none.</summary>
    public SecretPlace? Token { get; init; }

    /// <summary>Tokens by client credentials (RFC 6749 section 4.4); null for none.</summary>
    public TokenConfiguration? OAuth { get; init; }

    /// <summary>PEM file of the certificate to show, with its key in <see cref="ClientKey"/>; null for none.</summary>
    public string? ClientCertificate { get; init; }

    public string? ClientKey { get; init; }

    /// <summary>PEM file of the authorities to trust instead of the system's; null for the system's.</summary>
    public string? Authorities { get; init; }

    /// <summary>Proxy; null for none.</summary>
    public Uri? Proxy { get; init; }

    /// <summary>User for a proxy that asks for one, with <see cref="ProxyPassword"/>; null for none.</summary>
    public string? ProxyUser { get; init; }

    public SecretPlace? ProxyPassword { get; init; }

    public WebVersion Http { get; init; } = WebVersion.Auto;

    public WebForm Form { get; init; } = WebForm.Dicom;

    /// <summary>Most objects in one request.</summary>
    public int BatchObjects { get; init; } = 50;

    /// <summary>Most megabytes in one request; a single object that is larger goes alone.</summary>
    public int BatchMegabytes { get; init; } = 64;

    /// <summary>Announce large bodies by Expect: 100-continue; servers that answer 417 want it off.</summary>
    public bool ExpectContinue { get; init; } = true;

    public TimeSpan ConnectLimit { get; init; } = TimeSpan.FromSeconds(15);

    /// <summary>From the end of a request to the head of its answer.</summary>
    public TimeSpan ResponseLimit { get; init; } = TimeSpan.FromSeconds(120);
}

/// <summary>Where OAuth 2.0 tokens come from.</summary>
internal sealed record TokenConfiguration(Uri Endpoint, string ClientId, SecretPlace Secret, string? Scope, bool SecretInBody);

/// <summary>Where a secret is read each time it is needed: a file (without a line end at its close), or an environment variable.</summary>
internal sealed record SecretPlace(string? File, string? Variable)
{
    /// <exception cref="IOException">The file cannot be read, or the variable is not set. The message names the place and not the secret.</exception>
    /// <exception cref="UnauthorizedAccessException">The file may not be read.</exception>
    public string Read()
    {
        if (File is not null)
        {
            return System.IO.File.ReadAllText(File).TrimEnd('\r', '\n');
        }

        return Environment.GetEnvironmentVariable(Variable!) is { Length: > 0 } value
            ? value
            : throw new IOException($"The environment variable {Variable} is not set.");
    }

    public override string ToString() => File ?? $"${Variable}";
}

/// <summary>Which objects go to which destinations. Every condition that is given must hold.</summary>
internal sealed record RouteConfiguration
{
    /// <summary>Names of sources; empty for any.</summary>
    public IReadOnlyList<string> Sources { get; init; } = [];

    /// <summary>Names of optics; empty for any.</summary>
    public IReadOnlyList<string> Optics { get; init; } = [];

    /// <summary>Modalities (0008,0060); empty for any.</summary>
    public IReadOnlyList<string> Modalities { get; init; } = [];

    /// <summary>Stills or clips; null for both.</summary>
    public Pipeline.Objects.Optics.CaptureKind? Kind { get; init; }

    /// <summary>Attributes of the order and what their values must match.</summary>
    public IReadOnlyList<OrderCondition> Order { get; init; } = [];

    /// <summary>Names of destinations.</summary>
    public IReadOnlyList<string> To { get; init; } = [];

    /// <summary>Whether it fits every object.</summary>
    public bool IsOpen => Sources.Count == 0 && Optics.Count == 0 && Modalities.Count == 0 && Kind is null && Order.Count == 0;
}

/// <summary>An attribute of the order, by keyword (PS3.6), looked for in the item of the worklist and in its scheduled step, and the pattern that one of its values must match.</summary>
internal sealed record OrderCondition(string Keyword, CameraBridge.Dicom.Data.Tag Tag, System.Text.RegularExpressions.Regex Pattern);
