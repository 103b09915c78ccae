using CameraBridge.Dicom.Data;

namespace CameraBridge.Dicom.Iods;

/// <summary>Lays the modules of an IOD beside a data set.</summary>
internal sealed class ModuleWalk(DataSet root, string transferSyntaxUID, FindingList findings)
{
    private string section = "";

    public void Check(Iod iod)
    {
        section = $"PS3.3 {iod.Section}";
        CheckRows(iod.Values, root, null);
        foreach (ModuleUse use in iod.Modules)
        {
            if (use.Usage == 'M' || use.Signs.Any(root.Contains))
            {
                section = $"PS3.3 {use.Module.Section}";
                CheckRows(use.Module.Rows, root, null);
            }
        }
    }

    private void CheckRows(IReadOnlyList<AttributeRow> rows, DataSet here, Place? place)
    {
        foreach (AttributeRow row in rows)
        {
            bool isThere = here.TryFind(row.Tag, out Element? element);
            if (row.Type != '3')
            {
                CheckPresence(row, here, place, element);
            }

            if (isThere && !element!.IsEmpty)
            {
                CheckContent(row, here, place, element);
            }
        }
    }

    private void CheckPresence(AttributeRow row, DataSet here, Place? place, Element? element)
    {
        Need need = row.Condition?.Ask(new ConditionPlace(here, root, transferSyntaxUID)) ?? Need.Required;
        string type = row.Condition is null ? $"{row.Type}" : $"{row.Type}C";
        if (element is null)
        {
            if (need == Need.Required)
            {
                Add(row, place, $"type{type}.missing", "it is absent", row.Type == '1' ? "present with a value" : "present, empty if unknown");
            }
        }
        else if (need == Need.Forbidden)
        {
            Add(row, place, $"type{type}.present", "it is present", $"absent, unless: {row.Condition!.Text}");
        }
        else if (row.Type == '1' && element.IsEmpty)
        {
            // A type 1C attribute that need not be there must still have a value when it is (PS3.5 section 7.4.2).
            Add(row, place, $"type{type}.empty", "it is empty", "present with a value");
        }
    }

    private void CheckContent(AttributeRow row, DataSet here, Place? place, Element element)
    {
        foreach (ValueConstraint constraint in row.Constraints)
        {
            CheckValues(row, constraint, here, place, element);
        }

        if (element.Items is not { } items)
        {
            return;
        }

        if (row.Items is { } count && (items.Count < count.Least || items.Count > count.Most))
        {
            string right = count.Most == int.MaxValue ? $"{count.Least} or more" : count.Least == count.Most ? $"{count.Least}" : $"{count.Least} to {count.Most}";
            Add(row, place, "items.number", $"{items.Count} items", $"{right} items");
        }

        if (row.Rows.Count > 0)
        {
            for (int i = 0; i < items.Count; i++)
            {
                CheckRows(row.Rows, items[i], new Place(place, row.Keyword, i + 1));
            }
        }
    }

    private void CheckValues(AttributeRow row, ValueConstraint constraint, DataSet here, Place? place, Element element)
    {
        if (!constraint.Applies(new ConditionPlace(here, root, transferSyntaxUID)))
        {
            return;
        }

        IReadOnlyList<string> values = ElementText.Values(element);
        for (int i = 0; i < values.Count; i++)
        {
            if ((constraint.ValueNumber == 0 || constraint.ValueNumber == i + 1) && !constraint.Allowed.Contains(values[i]))
            {
                Add(row, place, "value.enumerated", $"value {i + 1} is \"{values[i]}\"", string.Join(" or ", constraint.Allowed.Select(value => $"\"{value}\"")));
            }
        }
    }

    private void Add(AttributeRow row, Place? place, string rule, string found, string right) =>
        findings.Add(Severity.Error, rule, place, row.Keyword, section, found, right);
}
