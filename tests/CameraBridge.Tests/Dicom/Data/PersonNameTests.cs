using CameraBridge.Dicom.Data;
using Xunit;

namespace CameraBridge.Tests.Dicom.Data;

/// <summary>PN, PS3.5 sections 6.2 and 6.2.1, edition 2025e.</summary>
public sealed class PersonNameTests
{
    // The examples of PS3.5 section 6.2.1.1 (from memory).
    [Theory]
    [InlineData("Adams^John Robert Quincy^^Rev.^B.A. M.Div.", "Adams", "John Robert Quincy", "", "Rev.", "B.A. M.Div.")]
    [InlineData("Morrison-Jones^Susan^^^Ph.D., Chief Executive Officer", "Morrison-Jones", "Susan", "", "", "Ph.D., Chief Executive Officer")]
    [InlineData("Doe^John", "Doe", "John", "", "", "")]
    [InlineData("Smith^Fluffy", "Smith", "Fluffy", "", "", "")]
    public void The_five_components_are_told_apart(string text, string family, string given, string middle, string prefix, string suffix)
    {
        PersonName name = PersonName.Parse(text);

        Assert.Equal(new PersonNameGroup(family, given, middle, prefix, suffix), name.Alphabetic);
        Assert.Equal(text, name.ToString());
    }

    [Theory]
    [InlineData("Doe^John", "Doe^John^^^")]
    [InlineData("Doe^John", "Doe^John==")]
    [InlineData("Doe^John", "Doe^John^^^=^^^^=")]
    [InlineData("Doe^John", " Doe ^ John ")]
    [InlineData("", "^^^^==")]
    public void Trailing_delimiters_and_spaces_around_components_make_no_difference(string one, string other)
    {
        Assert.Equal(PersonName.Parse(one), PersonName.Parse(other));
        Assert.Equal(one, PersonName.Parse(other).ToString());
    }

    [Theory]
    [InlineData("Doe^John", "Doe^Jon")]
    [InlineData("Doe^John", "Doe^^John")]
    [InlineData("Doe^John", "=Doe^John")]
    [InlineData("A=B", "A==B")]
    public void Different_names_differ(string one, string other) => Assert.NotEqual(PersonName.Parse(one), PersonName.Parse(other));

    [Theory]
    [InlineData("=山田^太郎")]
    [InlineData("==やまだ^たろう")]
    [InlineData("Yamada^Tarou==やまだ^たろう")]
    [InlineData("A^B^C^D^E^F=G=H=I")] // too many of both: kept as they are
    public void Text_comes_back_as_it_was(string text) => Assert.Equal(text, PersonName.Parse(text).ToString());

    [Fact]
    public void Nothing_is_the_empty_name()
    {
        Assert.True(PersonName.Parse(null).IsEmpty);
        Assert.True(PersonName.Parse(" ").IsEmpty);
        Assert.Equal("", PersonName.Empty.ToString());
    }
}
