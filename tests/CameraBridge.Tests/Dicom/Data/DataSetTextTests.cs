using System.Text;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>Character sets in a data set and its items: PS3.3 section C.12.1.1.2 and PS3.5 section 6.1.2, edition 2025e.</summary>
public sealed class DataSetTextTests
{
    private static readonly Tag Sequence = Tags.RequestAttributesSequence;

    [Fact]
    public void Ascii_declares_nothing_and_more_declares_utf_8()
    {
        var set = new DataSet();
        set.Set(Tags.PatientName, "Mueller^Anna");
        Assert.False(set.Contains(Tags.SpecificCharacterSet));

        set.Set(Tags.PatientName, "Müller^Anna");
        Assert.Equal("ISO_IR 192", set.GetString(Tags.SpecificCharacterSet));
        Assert.Equal("Müller^Anna"u8.ToArray(), set.GetBytes(Tags.PatientName).ToArray());
    }

    [Fact]
    public void The_outermost_data_set_declares_for_its_items_before_and_after_they_are_put_in()
    {
        foreach (bool before in new[] { true, false })
        {
            var inner = new DataSet();
            var outer = new DataSet();
            var set = new DataSet();
            if (before)
            {
                inner.Set(Tags.PatientName, "Müller");
            }

            outer.SetItems(Sequence, inner);
            set.SetItems(Sequence, outer);
            if (!before)
            {
                inner.Set(Tags.PatientName, "Müller");
            }

            Assert.Equal("ISO_IR 192", set.GetString(Tags.SpecificCharacterSet));
            Assert.False(outer.Contains(Tags.SpecificCharacterSet));
            Assert.False(inner.Contains(Tags.SpecificCharacterSet));
            Assert.Equal("Müller", set.GetItem(Sequence)?.GetItem(Sequence)?.GetString(Tags.PatientName));
        }
    }

    [Fact]
    public void Writing_beyond_ascii_turns_what_was_read_in_another_set_into_utf_8()
    {
        DataSet set = Received("ISO_IR 100", (Tags.PatientName, [0x4D, 0xFC, 0x6C, 0x6C, 0x65, 0x72])); // Müller in ISO 8859-1

        set.Set(Tags.StudyDescription, "Łódź");

        Assert.Equal("Müller", set.GetString(Tags.PatientName));
        Assert.Equal("Müller"u8.ToArray(), set.GetBytes(Tags.PatientName).ToArray());
        Assert.Equal("ISO_IR 192", set.GetString(Tags.SpecificCharacterSet));
        Assert.False(set.HasFlawedText);
    }

    [Fact]
    public void Writing_ascii_leaves_what_was_read_as_it_is()
    {
        DataSet set = Received("ISO_IR 100", (Tags.PatientName, [0xFC]));

        set.Set(Tags.StudyDescription, "Lodz");

        Assert.Equal("ISO_IR 100", set.GetString(Tags.SpecificCharacterSet));
        Assert.Equal([0xFC], set.GetBytes(Tags.PatientName).ToArray());
    }

    [Fact]
    public void A_tilde_in_a_japanese_data_set_does_not_become_an_overline()
    {
        DataSet set = Received("ISO_IR 13", (Tags.PatientName, [0xD4]));

        set.Set(Tags.StudyDescription, "~");

        Assert.Equal("~", set.GetString(Tags.StudyDescription));
        Assert.Equal("ﾔ", set.GetString(Tags.PatientName));
    }

    [Fact]
    public void Elements_copied_from_another_data_set_are_turned_into_utf_8_and_share_nothing()
    {
        DataSet source = Received("ISO_IR 100", (Tags.PatientName, [0x4D, 0xFC]), (Tags.PatientID, "P1"u8.ToArray()));
        DataSet item = Received("ISO_IR 144", (Tags.StudyDescription, [0xBB])); // its own set, Cyrillic: Л
        source.Put(Element.FromItems(Sequence, item));
        source.ResolveCharacterSets();
        var set = new DataSet();

        set.CopyFrom(source, Tags.PatientName, Tags.PatientID, Sequence, Tags.StudyDate);

        Assert.Equal("Mü", set.GetString(Tags.PatientName));
        Assert.Equal("Л", set.GetItem(Sequence)?.GetString(Tags.StudyDescription));
        Assert.False(set.GetItem(Sequence)!.Contains(Tags.SpecificCharacterSet));
        Assert.Equal("ISO_IR 192", set.GetString(Tags.SpecificCharacterSet));
        Assert.False(set.Contains(Tags.StudyDate));
        Assert.NotSame(item, set.GetItem(Sequence));
        Assert.Equal([0xBB], item.GetBytes(Tags.StudyDescription).ToArray());
    }

    [Fact]
    public void Copying_ascii_declares_nothing()
    {
        var set = new DataSet();
        set.CopyFrom(Received("ISO_IR 100", (Tags.PatientName, "Doe"u8.ToArray())), Tags.SpecificCharacterSet, Tags.PatientName);

        Assert.False(set.Contains(Tags.SpecificCharacterSet));
    }

    [Fact]
    public void An_item_that_stands_in_another_data_set_is_copied()
    {
        var item = new DataSet();
        var first = new DataSet();
        var second = new DataSet();
        first.SetItems(Sequence, item);
        second.SetItems(Sequence, item);

        item.Set(Tags.PatientName, "Müller");

        Assert.True(first.Contains(Tags.SpecificCharacterSet));
        Assert.False(second.Contains(Tags.SpecificCharacterSet));
        Assert.False(second.GetItem(Sequence)!.Contains(Tags.PatientName));
    }

    [Fact]
    public void Items_inherit_and_may_declare_their_own()
    {
        DataSet own = Received("ISO_IR 144", (Tags.PatientName, [0xBB]));
        DataSet inheriting = Received(null, (Tags.PatientName, [0xFC]));
        DataSet set = Received("ISO_IR 100", (Tags.PatientName, [0xFC]));
        set.Put(Element.FromItems(Sequence, own, inheriting));

        set.ResolveCharacterSets();

        Assert.Equal(["Л", "ü"], set.GetItems(Sequence).Select(item => item.GetString(Tags.PatientName)!));
        Assert.False(set.HasFlawedText);
    }

    [Fact]
    public void A_fallback_may_be_given_later_and_the_flaw_is_told_with_its_path_and_without_the_text()
    {
        DataSet item = Received(null, (Tags.StudyDescription, [0x4D, 0xFC, 0x6C]));
        DataSet set = Received(null, (Tags.PatientID, "P1"u8.ToArray()));
        set.Put(Element.FromItems(Sequence, item));
        set.ResolveCharacterSets();
        Assert.Equal("M‹FC›l", item.GetString(Tags.StudyDescription));

        set.ResolveCharacterSets(CharacterSet.FromSpecificCharacterSet(["ISO_IR 100"]));

        Assert.Equal("Mül", item.GetString(Tags.StudyDescription));
        string flaw = Assert.Single(set.FindTextFlaws());
        Assert.StartsWith("(0040,0275) RequestAttributesSequence[1]/(0008,1030) StudyDescription: the text ", flaw, StringComparison.Ordinal);
        Assert.DoesNotContain("Mül", flaw, StringComparison.Ordinal);
    }

    [Fact]
    public void A_wrong_declaration_is_told_once()
    {
        DataSet set = Received("ISO-IR 100", (Tags.PatientName, [0xFC]));
        set.Put(Element.FromItems(Sequence, Received(null, (Tags.PatientName, [0xFC]))));
        set.ResolveCharacterSets();

        Assert.Contains("SpecificCharacterSet", Assert.Single(set.FindTextFlaws()), StringComparison.Ordinal);
    }

    [Fact]
    public void By_hand_only_the_truth_can_be_declared()
    {
        var set = new DataSet();
        set.Set(Tags.SpecificCharacterSet, "ISO_IR 192");
        Assert.True(set.CharacterSet.IsUtf8);

        Assert.Throws<ValueException>(() => set.Set(Tags.SpecificCharacterSet, "ISO_IR 100"));

        set.Set(Tags.PatientName, "Müller");
        Assert.Throws<ValueException>(() => set.Set(Tags.SpecificCharacterSet, ""));
        Assert.Throws<ValueException>(() => set.Set(Tags.SpecificCharacterSet, "ISO_IR 6"));
    }

    private static DataSet Received(string? terms, params (Tag Tag, byte[] Bytes)[] values)
    {
        var set = new DataSet();
        if (terms is not null)
        {
            set.Put(Element.FromBytes(Tags.SpecificCharacterSet, Vr.CS, Encoding.ASCII.GetBytes(terms)));
        }

        foreach ((Tag tag, byte[] bytes) in values)
        {
            set.Put(Element.FromBytes(tag, TagDictionary.Find(tag)!.Vr, bytes));
        }

        set.ResolveCharacterSets();
        return set;
    }
}
