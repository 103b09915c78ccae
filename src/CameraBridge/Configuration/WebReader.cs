using CameraBridge.Dicom.Web;

namespace CameraBridge.Configuration;

/// <summary>The vocabulary of a peer that is reached by DICOMweb. Secrets are named by a file or an environment variable, never written into the configuration.</summary>
internal static class WebReader
{
    private static readonly WebConfiguration Defaults = new() { Name = "", Url = new Uri("http://localhost/") };

    /// <summary>An archive: how it is reached, and how objects are sent.</summary>
    public static WebConfiguration Read(SettingReader reader, string name) => ReadConnection(reader, name) with
    {
        Form = reader.Choice("form", Defaults.Form),
        BatchObjects = reader.Number("batch_objects", Defaults.BatchObjects, 1, 1000),
        BatchMegabytes = reader.Number("batch_megabytes", Defaults.BatchMegabytes, 1, 4096),
        ExpectContinue = reader.Flag("expect_continue", Defaults.ExpectContinue),
    };

    /// <summary>How a server is reached.</summary>
    public static WebConfiguration ReadConnection(SettingReader reader, string name) => new()
    {
        Name = name,
        Url = reader.Need("url", Defaults.Url, "Write where its DICOMweb services begin, for example https://pacs.hospital.example/dicom-web.", Root, value => value.ToString()),
        User = reader.Text("user"),
        Password = Secret(reader, "password"),
        Token = Secret(reader, "token"),
        OAuth = reader.Has("oauth") ? ReadOAuth(reader.Map("oauth")) : null,
        ClientCertificate = File(reader, "client_certificate"),
        ClientKey = File(reader, "client_key"),
        Authorities = File(reader, "authorities"),
        Proxy = reader.Get<Uri?>("proxy", null, Address, value => value?.ToString() ?? ""),
        ProxyUser = reader.Text("proxy_user"),
        ProxyPassword = Secret(reader, "proxy_password"),
        Http = reader.Get("http", Defaults.Http, Version, Write),
        ConnectLimit = reader.Duration("connect_limit", Defaults.ConnectLimit, TimeSpan.FromSeconds(1), TimeSpan.FromHours(1)),
        ResponseLimit = reader.Duration("response_limit", Defaults.ResponseLimit, TimeSpan.FromSeconds(1), TimeSpan.FromHours(1)),
    };

    /// <summary>What must hold between the settings of one such peer.</summary>
    public static void Check(WebConfiguration web, string key, SettingLog log)
    {
        int ways = new object?[] { web.Password, web.Token, web.OAuth }.Count(way => way is not null);
        if (ways > 1)
        {
            log.ReportAt($"{key}.url", new ValueFault("has more than one of password_file, token_file and oauth (or their _variable)", "Leave the one that the server wants."));
        }

        if (web.User is null != web.Password is null)
        {
            log.ReportAt($"{key}.url", new ValueFault("has a user without a password, or a password without a user", "Write user, and password_file or password_variable."));
        }

        if (web.ClientCertificate is null != web.ClientKey is null)
        {
            log.ReportAt($"{key}.url", new ValueFault("has a client certificate without its key, or a key without its certificate", "Write both, each as a PEM file."));
        }

        if (web.ProxyUser is null != web.ProxyPassword is null)
        {
            log.ReportAt($"{key}.url", new ValueFault("has a user of its proxy without a password, or a password without a user", "Write proxy_user, and proxy_password_file or proxy_password_variable."));
        }

        if (web.ProxyUser is not null && web.Proxy is null)
        {
            log.ReportAt($"{key}.url", new ValueFault("has a user of a proxy, and no proxy", "Write proxy, the address of the proxy."));
        }

        if (ways > 0 && web.Url.Scheme != Uri.UriSchemeHttps && !web.Url.IsLoopback)
        {
            log.ReportAt($"{key}.url", new ValueFault("would carry a secret over a network without TLS", "Write an https address."));
        }
    }

    private static TokenConfiguration ReadOAuth(SettingReader reader)
    {
        TokenConfiguration token = new(
            reader.Need("endpoint", Defaults.Url, "Write the address of the token endpoint.", (string text, out Uri value) => Address(text, out value!), value => value.ToString()),
            reader.NeedText("client_id", "Write the client identifier that the server gave this gateway.", _ => null),
            Secret(reader, "secret") ?? new SecretPlace("", null),
            reader.Text("scope", 1024),
            reader.Flag("secret_in_body", false));
        reader.Done();
        return token;
    }

    /// <summary>The place of a secret: KEY_file or KEY_variable.</summary>
    public static SecretPlace? Secret(SettingReader reader, string key)
    {
        string? file = File(reader, $"{key}_file");
        string? variable = reader.Text($"{key}_variable");
        return file is null && variable is null ? null : new SecretPlace(file, variable);
    }

    public static string? File(SettingReader reader, string key) =>
        reader.Get(key, null, (string text, out string? value) => SettingValues.WholePath(value = text), value => value ?? "");

    private static ValueFault? Root(string text, out Uri value)
    {
        if (Address(text, out Uri? address) is { } fault)
        {
            value = Defaults.Url;
            return fault;
        }

        value = address!;
        try
        {
            _ = new WebPeer("server", value);
            return null;
        }
        catch (ArgumentException)
        {
            return new ValueFault("has a query or a fragment in it", "Write the address alone; a token has a setting of its own.") { IsSecret = true };
        }
    }

    private static ValueFault? Address(string text, out Uri? value) =>
        !Uri.TryCreate(text, UriKind.Absolute, out value) || value.Scheme is not ("http" or "https")
            ? new ValueFault("is no http or https address", "Write for example https://pacs.hospital.example/dicom-web.")
        : value.UserInfo.Length > 0 ? new ValueFault("has a user or a password in it", "Write the address alone; user and password have settings of their own.") { IsSecret = true }
        : null;

    private static ValueFault? Version(string text, out WebVersion value)
    {
        value = text switch
        {
            "1.1" => WebVersion.One,
            "2" => WebVersion.Two,
            _ => WebVersion.Auto,
        };
        return text is "auto" or "1.1" or "2" ? null : new ValueFault("is no version of HTTP that is spoken here", "Write auto, 1.1 or 2.");
    }

    private static string Write(WebVersion value) => value switch
    {
        WebVersion.One => "1.1",
        WebVersion.Two => "2",
        _ => "auto",
    };
}
