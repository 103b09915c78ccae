namespace CameraBridge.Pipeline.Sittings.Cues.Labels;

/// <summary>A way in which an ID proves that it was read right: its last one or two characters follow from the others.</summary>
/// <param name="Name">Its name in the configuration.</param>
/// <param name="Holds">Whether an ID keeps it: false too for one that is too short, or has a character that the scheme does not know.</param>
internal sealed record CheckScheme(string Name, Func<string, bool> Holds)
{
    private const string Digits = "0123456789";
    private const string Letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ";

    /// <summary>All that are known.</summary>
    public static readonly IReadOnlyList<CheckScheme> All =
    [
        new("nhs-number", IsNhsNumber),
        new("luhn", IsLuhn),
        new("gs1", IsGs1),
        new("iso7064-11-2", id => IsPure(id, Digits + "X", 11, 2, checks: 1, supplement: 'X')),
        new("iso7064-37-2", id => IsPure(id, Digits + Letters + "*", 37, 2, checks: 1, supplement: '*')),
        new("iso7064-97-10", id => IsPure(id, Digits, 97, 10, checks: 2)),
        new("iso7064-661-26", id => IsPure(id, Letters, 661, 26, checks: 2)),
        new("iso7064-1271-36", id => IsPure(id, Digits + Letters, 1271, 36, checks: 2)),
        new("iso7064-11-10", id => IsHybrid(id, Digits)),
        new("iso7064-27-26", id => IsHybrid(id, Letters)),
        new("iso7064-37-36", id => IsHybrid(id, Digits + Letters)),
    ];

    /// <summary>The scheme of that name, or null.</summary>
    public static CheckScheme? Find(string name) => All.FirstOrDefault(scheme => scheme.Name == name);

    /// <summary>The NHS number of England, Wales and the Isle of Man: ten digits, weights 10 to 2, modulus 11; a check digit of ten is never given out (NHS Data Dictionary, NHS NUMBER).</summary>
    private static bool IsNhsNumber(string id)
    {
        if (id.Length != 10 || !id.All(char.IsAsciiDigit))
        {
            return false;
        }

        int sum = 0;
        for (int i = 0; i < 9; i++)
        {
            sum += (id[i] - '0') * (10 - i);
        }

        return (11 - (sum % 11)) % 11 == id[9] - '0';
    }

    /// <summary>Each second digit from the right is doubled, its digits added (ISO/IEC 7812-1 Annex B).</summary>
    private static bool IsLuhn(string id)
    {
        int sum = 0;
        for (int i = 0; i < id.Length; i++)
        {
            int digit = id[^(i + 1)] - '0';
            if (digit is < 0 or > 9)
            {
                return false;
            }

            int counted = i % 2 == 0 ? digit : digit * 2;
            sum += counted > 9 ? counted - 9 : counted;
        }

        return id.Length >= 2 && sum % 10 == 0;
    }

    /// <summary>Weights 1 and 3 in turn from the right, modulo 10 (GS1 General Specifications, section 7.9.1).</summary>
    private static bool IsGs1(string id)
    {
        int sum = 0;
        for (int i = 0; i < id.Length; i++)
        {
            int digit = id[^(i + 1)] - '0';
            if (digit is < 0 or > 9)
            {
                return false;
            }

            sum += i % 2 == 0 ? digit : digit * 3;
        }

        return id.Length >= 2 && sum % 10 == 0;
    }

    /// <summary>A pure system of ISO/IEC 7064: the whole, read as a number of this radix, leaves 1. The supplement stands only as check character.</summary>
    private static bool IsPure(string id, string characters, int modulus, int radix, int checks, char? supplement = null)
    {
        int sum = 0;
        for (int i = 0; i < id.Length; i++)
        {
            int value = characters.IndexOf(id[i], StringComparison.Ordinal);
            if (value < 0 || (id[i] == supplement && i < id.Length - 1))
            {
                return false;
            }

            sum = ((sum * radix) + value) % modulus;
        }

        return id.Length > checks && sum == 1;
    }

    /// <summary>A hybrid system of ISO/IEC 7064: modulus M + 1 within, M at the end.</summary>
    private static bool IsHybrid(string id, string characters)
    {
        int modulus = characters.Length;
        int product = modulus;
        for (int i = 0; i < id.Length; i++)
        {
            int value = characters.IndexOf(id[i], StringComparison.Ordinal);
            if (value < 0)
            {
                return false;
            }

            int sum = (product + value) % modulus;
            if (i == id.Length - 1)
            {
                return id.Length > 1 && sum == 1;
            }

            product = (sum == 0 ? modulus : sum) * 2 % (modulus + 1);
        }

        return false;
    }
}
