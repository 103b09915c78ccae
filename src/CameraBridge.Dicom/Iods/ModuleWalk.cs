using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;

namespace CameraBridge.Dicom.Iods;

/// <summary>Lays the modules of an IOD beside a data set.</summary>
/// <param name="root">The whole data set.</param>
/// <param name="transferSyntaxUID">How it is encoded.</param>
/// <param name="findings">Where findings go.</param>
/// <param name="untestable">Where rules go that the object cannot answer, or null when nobody asks.</param>
internal sealed class ModuleWalk(DataSet root, string transferSyntaxUID, FindingList findings, ICollection<Untestable>? untestable)
{
    /// <summary>The group whose values describe the patient; they are not shown.</summary>
    private const ushort PatientGroup = 0x0010;

    private string section = "";

    public void Check(Iod iod)
    {
        IodPlan plan = iod.Plan;
        var spots = new List<(Element Element, Spot Spot)>(root.Count);
        var used = new bool[iod.Modules.Count];
        foreach (Element element in root)
        {
            if (plan.Find(element.Tag) is { } spot)
            {
                spots.Add((element, spot));
                if (spot.SignOf != Spot.OfIod)
                {
                    used[spot.SignOf] = true;
                }

                if (spot.IsForeign)
                {
                    CheckForeign(element, null, $"PS3.3 {iod.Section}", iod.Name);
                }
            }
            else
            {
                CheckForeign(element, null, $"PS3.3 {iod.Section}", iod.Name);
            }
        }

        for (int i = 0; i < used.Length; i++)
        {
            used[i] = used[i] || IsDemanded(iod.Modules[i], iod.Section);
            if (used[i])
            {
                CheckDemanded(iod.Modules[i].Module);
            }
        }

        foreach ((Element element, Spot spot) in spots)
        {
            foreach ((AttributeRow row, int module) in spot.Rows)
            {
                if (module == Spot.OfIod || used[module])
                {
                    section = $"PS3.3 {(module == Spot.OfIod ? iod.Section : iod.Modules[module].Module.Section)}";
                    CheckContent(row, root, null, element);
                }
            }

            if (spot.Items is { } allowed)
            {
                CheckForeignItems(element, allowed, null, iod.Name);
            }
        }
    }

    private bool IsDemanded(ModuleUse use, string iodSection)
    {
        if (use.Condition is not { } condition)
        {
            return use.Usage == 'M';
        }

        Need need = condition.Ask(new ConditionPlace(root, root, transferSyntaxUID));
        if (need == Need.Untold)
        {
            untestable?.Add(new Untestable($"{use.Module.Name} Module", $"PS3.3 {iodSection}", condition.IsChecked ? $"whether {condition.Text}, the object does not tell" : condition.Text));
        }

        return need == Need.Required;
    }

    private void CheckDemanded(ModuleTable module)
    {
        section = $"PS3.3 {module.Section}";
        if (!module.IsRepeated)
        {
            CheckDemanded(module.Rows, root, null, 0);
            return;
        }

        ushort last = 0;
        foreach (Element element in root)
        {
            if (IodPlan.IsRepeat(element.Tag) && element.Tag.Group != last)
            {
                last = element.Tag.Group;
                CheckDemanded(module.Rows, root, null, last);
            }
        }
    }

    private void CheckDemanded(RowSet rows, DataSet here, Place? place, ushort group)
    {
        foreach (AttributeRow row in rows.Demanded)
        {
            here.TryFind(group == 0 ? row.Tag : new Tag(group, row.Tag.Number), out Element? element);
            CheckPresence(row, here, place, element);
        }
    }

    private void CheckPresence(AttributeRow row, DataSet here, Place? place, Element? element)
    {
        Need need = row.Condition?.Ask(new ConditionPlace(here, root, transferSyntaxUID)) ?? Need.Required;
        if (element is null)
        {
            if (need == Need.Required)
            {
                Add(row, place, $"type{row.TypeText}.missing", "it is absent", row.Type == '1' ? "present with a value" : "present, empty if unknown");
            }
            else if (need == Need.Untold)
            {
                untestable?.Add(new Untestable(
                    place is null ? row.Keyword : $"{place.Keyword}.{row.Keyword}", section, row.Condition!.IsChecked ? $"whether {row.Condition.Text}, the object does not tell" : row.Condition.Text));
            }
        }
        else if (need == Need.Forbidden)
        {
            Add(row, place, $"type{row.TypeText}.present", "it is present", $"absent, unless {row.Condition!.Text}");
        }
        else if (row.Type == '1' && element.IsEmpty)
        {
            // A type 1C attribute that need not be there must still have a value when it is (PS3.5 section 7.4.2).
            Add(row, place, $"type{row.TypeText}.empty", "it is empty", "present with a value");
        }
    }

    private void CheckContent(AttributeRow row, DataSet here, Place? place, Element element)
    {
        if (element.IsEmpty)
        {
            return;
        }

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

        if (row.Open is { } why)
        {
            untestable?.Add(new Untestable(Place.Path(place, row.Keyword), section, why));
        }

        for (int i = 0; i < items.Count; i++)
        {
            var inner = new Place(place, row.Keyword, i + 1);
            CheckItem(row.Rows, items[i], inner);
            if (row.Codes is { } codes)
            {
                CodeRules.Check(codes, items[i], inner, section, findings, untestable);
            }
        }
    }

    private void CheckItem(RowSet rows, DataSet item, Place place)
    {
        if (rows.Count == 0)
        {
            return;
        }

        CheckDemanded(rows, item, place, 0);
        foreach (Element element in item)
        {
            if (rows.Find(element.Tag) is { } row)
            {
                CheckContent(row, item, place, element);
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
            if ((constraint.ValueNumber != 0 && constraint.ValueNumber != i + 1) || constraint.Values.Contains(values[i]))
            {
                continue;
            }

            // An empty value among several is no value of its own (PS3.5 section 6.4), unless it is one of those enumerated.
            if (values[i].Length == 0 && constraint.IsOpen)
            {
                continue;
            }

            findings.Add(
                constraint.IsOpen ? Severity.Warning : Severity.Error, constraint.IsOpen ? "value.term" : "value.enumerated", place, row.Keyword, section,
                row.Tag.Group == PatientGroup ? $"value {i + 1} is another" : $"value {i + 1} is \"{values[i]}\"", string.Join(" or ", constraint.Values.Select(value => $"\"{value}\"")));
        }
    }

    // A class may be extended by registered attributes of type 3 (Standard Extended SOP Class, PS3.2 section 7.3, from memory), so this is no error.
    private void CheckForeign(Element element, Place? place, string where, string iod)
    {
        if (element.Tag.IsPrivate || element.Tag.IsGroupLength || element.Tag == Tags.DataSetTrailingPadding
            || (place is not null && element.Tag == Tags.SpecificCharacterSet))
        {
            return;
        }

        if (TagDictionary.Find(element.Tag) is { Keyword.Length: > 0 } entry)
        {
            findings.Add(
                Severity.Warning, "attribute.foreign", place, entry.Keyword, where, "an attribute that the class does not have here",
                $"its absence, or {iod} stated as a Standard Extended class");
        }
    }

    private void CheckForeignItems(Element element, AllowedTags allowed, Place? place, string iod)
    {
        for (int i = 0; i < (element.Items?.Count ?? 0); i++)
        {
            Place? inner = null;
            foreach (Element one in element.Items![i])
            {
                bool belongs = allowed.Has(one.Tag, out AllowedTags? items);
                if (belongs && items is null)
                {
                    continue;
                }

                inner ??= new Place(place, TagDictionary.Find(element.Tag)?.Keyword ?? element.Tag.ToString(), i + 1);
                if (belongs)
                {
                    CheckForeignItems(one, items!, inner, iod);
                }
                else
                {
                    CheckForeign(one, inner, section, iod);
                }
            }
        }
    }

    private void Add(AttributeRow row, Place? place, string rule, string found, string right) =>
        findings.Add(Severity.Error, rule, place, row.Keyword, section, found, right);
}
