namespace CameraBridge.Dicom.Iods;

/// <summary>How much a finding matters.</summary>
public enum Severity
{
    /// <summary>Right as it is, and worth knowing.</summary>
    Note,

    /// <summary>Allowed, but a reader may stumble over it.</summary>
    Warning,

    /// <summary>Against the standard: the object must not leave.</summary>
    Error,
}

/// <summary>One disagreement between an object and the standard.</summary>
/// <param name="Rule">Short stable name of the rule, such as "type1.missing".</param>
/// <param name="Path">Where, in keywords: "AnatomicRegionSequence[1].CodeValue".</param>
/// <param name="Section">Section of the standard that has the rule, such as "PS3.3 C.7.6.1".</param>
/// <param name="Found">What is there; values of attributes that may name a patient are not shown.</param>
/// <param name="Right">What would be right.</param>
/// <param name="Severity">Error or warning.</param>
public sealed record Finding(string Rule, string Path, string Section, string Found, string Right, Severity Severity);

/// <summary>A rule that the object alone cannot answer, so that it was not judged.</summary>
/// <param name="Path">The attribute or module.</param>
/// <param name="Section">Section of the standard that has the rule.</param>
/// <param name="Why">Why no file tells it.</param>
public sealed record Untestable(string Path, string Section, string Why);
