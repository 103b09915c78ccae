using System.Runtime.Versioning;

// The peers that the tests start are Debian's.
[assembly: SupportedOSPlatform("linux")]
