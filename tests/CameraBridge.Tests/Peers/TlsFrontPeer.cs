using System.Globalization;

namespace CameraBridge.Tests.Peers;

/// <summary>
/// Debian's nginx in front of a DICOMweb server, as hospitals have it: TLS, HTTP/2 or 1.1 by ALPN, and where asked a client certificate. Its log says by which version
/// of HTTP and under whose certificate each request came.
/// </summary>
internal sealed class TlsFrontPeer : IAsyncDisposable
{
    private readonly PeerProcess process;
    private readonly string log;

    private TlsFrontPeer(PeerProcess process, string log, string path)
    {
        this.process = process;
        this.log = log;
        Root = new Uri(string.Create(CultureInfo.InvariantCulture, $"https://127.0.0.1:{process.Port}{path}"));
    }

    /// <summary>Where the DICOMweb services begin behind it.</summary>
    public Uri Root { get; }

    /// <summary>A line a request that was answered: version, method, status, and whose client certificate was verified.</summary>
    public string[] Requests => File.Exists(log) ? File.ReadAllLines(log) : [];

    /// <param name="folder">For its files.</param>
    /// <param name="behind">Where the DICOMweb services begin.</param>
    /// <param name="authority">Signs its certificate.</param>
    /// <param name="clients">Signs those of clients, who then must have one; null where it asks for none.</param>
    /// <param name="mostKilobytes">Longest body; 0 for any.</param>
    public static async Task<TlsFrontPeer> StartAsync(string folder, Uri behind, TestAuthority authority, TestAuthority? clients = null, int mostKilobytes = 0)
    {
        Directory.CreateDirectory(folder);
        (string certificate, string key) = authority.Write(folder, "front");
        string verify = clients is null ? "" : $"ssl_client_certificate {clients.Write(folder)}; ssl_verify_client on;";
        string log = Path.Combine(folder, "access.log");
        string configuration = Path.Combine(folder, "nginx.conf");
        string[] Configure(int port)
        {
            File.WriteAllText(configuration, string.Create(CultureInfo.InvariantCulture, $$"""
                daemon off; master_process off; error_log {{folder}}/error.log; pid {{folder}}/nginx.pid;
                events { worker_connections 64; }
                http {
                  log_format facts '$server_protocol $request_method $status $ssl_client_verify $ssl_client_s_dn';
                  access_log {{log}} facts;
                  client_body_temp_path {{folder}}/body; proxy_temp_path {{folder}}/proxy; fastcgi_temp_path {{folder}}/fastcgi; uwsgi_temp_path {{folder}}/uwsgi; scgi_temp_path {{folder}}/scgi;
                  client_max_body_size {{mostKilobytes}}k;
                  server {
                    listen 127.0.0.1:{{port}} ssl http2; ssl_certificate {{certificate}}; ssl_certificate_key {{key}}; {{verify}}
                    location / { proxy_pass http://{{behind.Authority}}; proxy_http_version 1.1; }
                  }
                }
                """));
            return ["-c", configuration, "-e", Path.Combine(folder, "error.log")];
        }

        PeerProcess? process = null;
        try
        {
            process = await PeerProcess.StartAsync("/usr/sbin/nginx", Configure);
            TlsFrontPeer peer = new(process, log, behind.AbsolutePath);
            process = null;
            return peer;
        }
        finally
        {
            await (process?.DisposeAsync() ?? ValueTask.CompletedTask);
        }
    }

    public ValueTask DisposeAsync() => process.DisposeAsync();
}
