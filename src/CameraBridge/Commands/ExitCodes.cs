namespace CameraBridge.Commands;

/// <summary>The exit codes: a contract with scripts, printed in each command's help.</summary>
internal static class ExitCodes
{
    public const int AllWell = 0;

    /// <summary>The program itself failed in a way that nobody foresaw.</summary>
    public const int Bug = 1;

    public const int UsageOrConfiguration = 2;

    public const int Held = 3;

    /// <summary>Also whatever kept the work from being done that is neither a mistake of the caller nor a bug: a peer or the state is not there. Nothing is lost.</summary>
    public const int Undelivered = 4;

    public const int Nonconforming = 5;

    /// <summary>What became of a run: something undelivered is worse than something held, since it waits for no decision but for a repair.</summary>
    public static int Of(bool anyHeld, bool anyUndelivered) => anyUndelivered ? Undelivered : anyHeld ? Held : AllWell;

    public static string Words(int code) => code switch
    {
        AllWell => "all well",
        UsageOrConfiguration => "the command line or the configuration is wrong",
        Held => "something is held and waits for a person",
        Undelivered => "something is undelivered or unconfirmed, or a peer or the state is not there; nothing is lost",
        Nonconforming => "something does not conform to the standard",
        _ => "a bug; please report it with what was printed",
    };
}
