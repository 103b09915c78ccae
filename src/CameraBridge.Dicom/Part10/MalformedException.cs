using System.Globalization;

namespace CameraBridge.Dicom.Part10;

/// <summary>Bytes that cannot be read as a data set, or only at a cost that <see cref="ReadLimits"/> forbids. Names no value, so no patient.</summary>
public sealed class MalformedException : FormatException
{
    /// <summary>Made by the readers of this library.</summary>
    /// <param name="position">See <see cref="Position"/>.</param>
    /// <param name="path">See <see cref="Path"/>.</param>
    /// <param name="rule">See <see cref="Rule"/>.</param>
    /// <param name="innerException">What was found wrong below this layer, if anything.</param>
    public MalformedException(long position, string path, string rule, Exception? innerException = null)
        : base(string.Create(CultureInfo.InvariantCulture, $"At byte {position}{(path.Length > 0 ? ", " + path : "")}: {rule}"), innerException)
    {
        Position = position;
        Path = path;
        Rule = rule;
    }

    /// <summary>Byte offset from the start of what was read: of the file, of the data set, or, for a deflated one, of the inflated bytes.</summary>
    public long Position { get; }

    /// <summary>The tags on the way, such as "(0040,0100)[1].(0008,0100)", items counted from 1; empty at the start.</summary>
    public string Path { get; }

    /// <summary>What was broken, with the section of the standard or the name of the limit.</summary>
    public string Rule { get; }
}

/// <summary>Something a reader forgave.</summary>
/// <param name="Position">Byte offset, as in <see cref="MalformedException.Position"/>.</param>
/// <param name="Path">The tags on the way, as in <see cref="MalformedException.Path"/>.</param>
/// <param name="Rule">What the standard asks instead.</param>
public sealed record ReadFinding(long Position, string Path, string Rule);
