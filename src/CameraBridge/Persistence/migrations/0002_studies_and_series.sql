-- What the objects of a study, and those of a series, must have in common whenever they are made. started_at is ISO 8601 text, since its zone is that of
-- all dates and times in the objects. Columns that are DICOM attributes bear the attribute's keyword.

create table studies (
    StudyInstanceUID text primary key,
    started_at       text not null
) strict, without rowid;

-- One series per sitting, optic and equipment; instances is the highest Instance Number given in it.
create table series (
    SeriesInstanceUID text    primary key,
    sitting_id        integer not null references sittings (id),
    optic             text    not null,
    equipment         text    not null,
    SeriesNumber      integer not null,
    started_at        text    not null,
    instances         integer not null
) strict, without rowid;
create index series_of_sitting on series (sitting_id, SeriesNumber);
