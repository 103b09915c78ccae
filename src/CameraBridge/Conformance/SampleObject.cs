using CameraBridge.Configuration;
using CameraBridge.Dicom.Data;
using CameraBridge.Dicom.Dictionary;
using CameraBridge.Dicom.Iods;
using CameraBridge.Pipeline;
using CameraBridge.Pipeline.Objects;
using CameraBridge.Pipeline.Objects.Optics;

namespace CameraBridge.Conformance;

/// <summary>What a fact is of, as the tables tell it.</summary>
internal static class Origin
{
    public const string
        Worklist = "MWL", Configuration = "CONFIG", Said = "USER", Picture = "CAMERA", Time = "TIME", Made = "AUTO", Optic = "OPTIC";

    /// <summary>"MWL PatientName", "CONFIG device.model".</summary>
    public static string Of(string kind, string what) => $"{kind} {what}";
}

/// <summary>An object that is made of sample facts, to be looked at and not to be sent.</summary>
internal sealed record SampleObject(SeriesFacts Series, PictureFacts Picture)
{
    private static readonly DateTimeOffset Morning = new(2026, 1, 2, 9, 30, 0, TimeSpan.FromHours(1));

    private static readonly TimeCorrection OfWrongClock = new(Morning.AddMinutes(5), 300, 2, Morning.AddHours(1));

    /// <summary>An object of an optic, with everything known that can be.</summary>
    public static SampleObject Full(Optic optic, CaptureKind kind) => new(
        new SeriesFacts
        {
            Step = SampleFacts.FullStep(),
            Institution = SampleFacts.Institution,
            Source = new SourceConfiguration { Name = "sample", Folder = "", Kind = SourceKind.Stick, StationName = "A", Device = SampleFacts.Device },
            Optic = optic with { Always = optic.Always with { Context = [.. optic.Always.Context, .. SampleFacts.Context], Devices = [.. optic.Always.Devices, SampleFacts.Scope] } },
            Kind = kind,
            SeriesInstanceUID = "2.25.11",
            SeriesNumber = 1,
            StartedAt = Morning,
            StudyStartedAt = Morning,
            PerformedProcedureStepID = "A",
        },
        new PictureFacts
        {
            SOPInstanceUID = "2.25.12",
            InstanceNumber = 1,
            Content = SampleFacts.Contents(kind)[0],
            TakenAt = Morning,
            Said = AllSaid(optic, kind),
            During = kind == CaptureKind.Clip ? null : new ClipMoment(optic.Clip.SOPClassUID, "2.25.13", "2.25.14", 2, TimeSpan.FromSeconds(1)),
        });

    /// <summary>An object of an optic with as little known as lets it become one.</summary>
    public static SampleObject Least(Optic optic, CaptureKind kind)
    {
        SampleObject full = Full(optic, kind);
        SampleObject least = full with
        {
            Series = full.Series with
            {
                Step = SampleFacts.LeastStep(),
                Institution = new InstitutionConfiguration(),
                Optic = optic,
                Source = new SourceConfiguration { Name = "sample", Folder = "" },
            },
            Picture = full.Picture with { Said = OpticValues.None, TakenAt = null, During = null, Content = SampleFacts.PlainContent(kind) },
        };
        SampleObject timed = least with { Picture = least.Picture with { TakenAt = Morning } };
        SampleObject[] ladder =
        [
            least,
            least.Saying(ValueKeys.BodySite),
            timed.Saying(ValueKeys.Side),
            least with { Series = least.Series with { Source = least.Series.Source with { Device = SampleFacts.Device } } },
        ];
        return ladder.FirstOrDefault(one => one.Attributes() is not null) ?? full;
    }

    /// <summary>The attributes by path, or null when the picture would be held.</summary>
    public IReadOnlyDictionary<string, string>? Attributes() => Describe().DataSet is { } dataSet ? AttributePaths.Of(dataSet) : null;

    /// <summary>Why there is no object.</summary>
    public string? WhyNot() => Describe().Held?.Words;

    /// <summary>Objects between everything and the least, with every kind of content.</summary>
    /// <param name="optic">The optic as the table has it.</param>
    public IEnumerable<SampleObject> Variants(Optic optic)
    {
        SampleObject least = Least(optic, Series.Kind);
        foreach (Content content in SampleFacts.Contents(Series.Kind))
        {
            foreach (SampleObject one in (SampleObject[])[this, least])
            {
                yield return one with { Picture = one.Picture with { Content = content } };
            }
        }

        yield return this with { Picture = Picture with { TakenAt = null, During = null } };
        yield return this with { Picture = Picture with { Correction = OfWrongClock } };
        yield return this with { Series = Series with { Step = Renamed("Ä^Ä") } };
        foreach (string key in Picture.Said.Keys)
        {
            yield return Without(key);
            yield return With(key, second: true);
        }
    }

    /// <summary>This object with one fact changed each time, and what the fact is of.</summary>
    public IEnumerable<(string Origin, SampleObject Changed)> Changes()
    {
        foreach ((string key, DataSet step) in StepsWithOneKeyChanged())
        {
            yield return (Origin.Of(Origin.Worklist, key), this with { Series = Series with { Step = step } });
        }

        foreach ((string setting, SeriesFacts series) in SettingsChanged())
        {
            yield return (Origin.Of(Origin.Configuration, setting), this with { Series = series });
        }

        foreach (string key in Picture.Said.Keys)
        {
            yield return (Origin.Of(Origin.Said, key), Without(key));
            yield return (Origin.Of(Origin.Said, key), With(key, second: true));
        }

        foreach (Content content in SampleFacts.Contents(Series.Kind))
        {
            yield return (Origin.Picture, this with { Picture = Picture with { Content = content } });
        }

        if (Picture.Content is StillContent still)
        {
            // The configuration speaks before the camera, so that only shows where it is silent.
            SampleObject silent = this with { Series = Series with { Source = Series.Source with { Device = new DeviceConfiguration() } } };
            yield return (Origin.Of(Origin.Picture, "(Exif)"), silent with { Picture = Picture with { Content = still with { Exif = SampleFacts.CameraExif(SampleFacts.Second) } } });
        }

        yield return (Origin.Of(Origin.Time, "of the picture"), this with { Picture = Picture with { TakenAt = Morning.AddMinutes(1).ToOffset(TimeSpan.FromHours(1)) } });
        yield return (Origin.Of(Origin.Time, "where the clock is corrected"), this with { Picture = Picture with { Correction = OfWrongClock } });
        yield return (Origin.Of(Origin.Time, "of the sitting"), this with { Series = Series with { StartedAt = Morning.AddDays(1).AddMinutes(1) } });
        yield return (Origin.Of(Origin.Time, "of the study"), this with { Series = Series with { StudyStartedAt = Morning.AddDays(1).AddMinutes(1) } });
        yield return (Origin.Of(Origin.Time, "zone"), this with { Series = Series with { StudyStartedAt = Morning.ToOffset(TimeSpan.FromHours(2)) } });
        yield return (Origin.Made, this with { Series = Series with { SeriesInstanceUID = "2.25.21", SeriesNumber = 2, PerformedProcedureStepID = "B" } });
        yield return (Origin.Made, this with { Picture = Picture with { SOPInstanceUID = "2.25.22", InstanceNumber = 2 } });
        if (Picture.During is { } moment)
        {
            yield return (Origin.Of(Origin.Picture, "taken during a clip"), this with { Picture = Picture with { During = null } });
            yield return (Origin.Of(Origin.Picture, "taken during a clip"), this with { Picture = Picture with { During = moment with { SOPInstanceUID = "2.25.23", SeriesInstanceUID = "2.25.24", Frame = 3, Since = TimeSpan.FromSeconds(2) } } });
        }
    }

    private (DataSet? DataSet, Reason? Held) Describe() => ObjectComposition.Describe(new SeriesTemplate(Series), Picture, []);

    private SampleObject Saying(string key) => this with { Picture = Picture with { Said = Picture.Said.With(key, Sample(Series.Optic, key, second: false)) } };

    private SampleObject Without(string key) => this with { Picture = Picture with { Said = Picture.Said.With(key) } };

    private SampleObject With(string key, bool second) =>
        key == OpticPart.WithKey ? Without(key) : this with { Picture = Picture with { Said = Picture.Said.With(key, Sample(Series.Optic, key, second)) } };

    private static OpticValues AllSaid(Optic optic, CaptureKind kind)
    {
        OpticValues said = OpticValues.None;
        foreach (ValueKey key in ValueKeys.All.Where(key => key.Name != ValueKeys.TakenAt && key.IsFor(optic.Of(kind).SOPClassUID)))
        {
            said = said.With(key.Name, Sample(optic, key.Name, second: false));
        }

        return optic.Options.Count > 0 ? said.With(OpticPart.WithKey, optic.Options.Select(option => option.Name)) : said;
    }

    private static string Sample(Optic optic, string key, bool second)
    {
        if (key == ValueKeys.BodySite)
        {
            GroupCode[] sites = [.. optic.BodySites.SelectMany(group => ContextGroups.Find(group)?.Codes ?? []).DistinctBy(code => code.Value).Take(2)];
            GroupCode site = sites[second ? ^1 : 0];
            return new Code(site.Value, site.Scheme, site.Meaning).ToString();
        }

        (string first, string other) = SampleFacts.Said[key];
        return SampleFacts.Kept(key, second ? other : first);
    }

    private IEnumerable<(string Key, DataSet Step)> StepsWithOneKeyChanged()
    {
        foreach (string path in AttributePaths.Of(Series.Step).Keys)
        {
            DataSet step = Series.Step.Clone();
            DataSet? holder = step;
            string[] parts = path.Split(AttributePaths.Step);
            foreach (string part in parts[..^1])
            {
                holder = holder?.GetItem(TagDictionary.Find(part)!.Tag);
            }

            Tag tag = TagDictionary.Find(parts[^1])!.Tag;
            if (tag == Tags.PatientName)
            {
                yield return (path, Renamed("Ä^Ä"));
            }
            else if (holder is not null && holder[tag] is { Vr: not Vr.SQ })
            {
                SampleFacts.Put(holder, tag, SampleFacts.Second);
                yield return (path, step);
            }
        }
    }

    private IEnumerable<(string Setting, SeriesFacts Series)> SettingsChanged()
    {
        DeviceConfiguration device = Series.Source.Device;
        yield return ("device.manufacturer", WithSource(Series.Source with { Device = device with { Manufacturer = "B" } }));
        yield return ("device.model", WithSource(Series.Source with { Device = device with { ModelName = "B" } }));
        yield return ("device.serial_number", WithSource(Series.Source with { Device = device with { SerialNumber = "B" } }));
        yield return ("device.software", WithSource(Series.Source with { Device = device with { SoftwareVersions = "B" } }));
        yield return ("station.name", WithSource(Series.Source with { StationName = "B" }));
        yield return ("kind", WithSource(Series.Source with { Kind = SourceKind.Share }));
        yield return ("optics", Series with { Optic = Series.Optic with { Always = Series.Optic.Always with { Context = [], Devices = [] } } });
        yield return ("institution.name", Series with { Institution = Series.Institution with { Name = "B" } });
        yield return ("institution.address", Series with { Institution = Series.Institution with { Address = "B" } });
        yield return ("institution.department", Series with { Institution = Series.Institution with { Department = "B" } });
    }

    /// <summary>A name beyond ASCII, which needs a character set.</summary>
    private DataSet Renamed(string name)
    {
        DataSet step = Series.Step.Clone();
        step.Set(Tags.PatientName, name);
        return step;
    }

    private SeriesFacts WithSource(SourceConfiguration source) => Series with { Source = source };
}
