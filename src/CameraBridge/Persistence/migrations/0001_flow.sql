-- The flow: captures -> cues -> sittings -> matches -> imaging_objects -> deliveries, and the work between them.
-- Columns ending in _at are UTC in ticks of 100 ns since 0001-01-01; for people: datetime((x - 621355968000000000) / 10000000, 'unixepoch').
-- taken_at is ISO 8601 text, since the zone it was read in is part of it. Columns that are DICOM attributes bear the attribute's keyword.

create table work (
    id          integer primary key autoincrement,
    stage       text    not null,
    subject_id  integer not null,
    lane        text    not null,
    attempts    integer not null default 0,
    created_at  integer not null,
    due_at      integer not null,
    owner       text,
    lease_until integer,
    lease       integer not null default 0
) strict;
create unique index work_of_subject on work (stage, subject_id);
create index work_due on work (stage, lane, due_at, id) where owner is null;
create index work_leased on work (stage, lane, lease_until) where owner is not null;

create table sittings (
    id                  integer primary key autoincrement,
    source              text    not null,
    folder              text    not null,
    state               text    not null,
    joinable            integer not null,
    opened_at           integer not null,
    closes_at           integer not null,
    follows_sitting_id  integer not null,
    begins              text    not null,
    doubt               text
) strict;
create unique index sittings_joinable on sittings (source, folder) where joinable = 1;
create index sittings_of_folder on sittings (source, folder, id);
create index sittings_held on sittings (id) where state = 'Held';

create table captures (
    id              integer primary key autoincrement,
    sitting_id      integer not null references sittings (id),
    position        integer,
    source          text    not null,
    place           text    not null,
    folder          text    not null,
    size            integer not null,
    modified_at     integer not null,
    sha256          text    not null,
    spool_name      text    not null,
    settled_at      integer not null,
    taken_at        text,
    taken_at_origin text,
    state           text    not null,
    held_reason     text
) strict;
create unique index captures_known on captures (source, place, sha256);
create index captures_of_sitting on captures (sitting_id);
create index captures_held on captures (sitting_id) where state = 'Held';

-- The scanner's memory: under which size and time a place was seen, the latest with the highest id.
create table known_files (
    id          integer primary key autoincrement,
    source      text    not null,
    place       text    not null,
    size        integer not null,
    modified_at integer not null,
    unique (source, place, size, modified_at)
) strict;

create table cues (
    id                integer primary key autoincrement,
    capture_id        integer not null references captures (id),
    kind              text    not null,
    pattern           text,
    PatientID         text,
    IssuerOfPatientID text,
    AccessionNumber   text,
    side              text,
    optic             text,
    finding_code      text,
    finding_words     text
) strict;
create index cues_of_capture on cues (capture_id);

-- Captures of other parts of the folder whose word counts in a sitting too: the folder's sidecar, the folder's name.
create table folder_evidence (
    sitting_id integer not null references sittings (id),
    capture_id integer not null references captures (id),
    primary key (sitting_id, capture_id)
) strict, without rowid;

-- The latest match of a sitting counts. What a person decided is never written over.
create table matches (
    id           integer primary key autoincrement,
    sitting_id   integer not null references sittings (id),
    step         text,
    evidence     text    not null,
    held_reasons text    not null,
    proposals    text    not null,
    inquiry      text,
    decided_by   text    not null,
    decided_at   integer not null
) strict;
create index matches_of_sitting on matches (sitting_id, id);

create table imaging_objects (
    id                integer primary key autoincrement,
    capture_id        integer not null references captures (id),
    sitting_id        integer not null references sittings (id),
    SOPClassUID       text    not null,
    SOPInstanceUID    text    not null unique,
    TransferSyntaxUID text    not null,
    pieces            blob    not null
) strict;
create unique index imaging_objects_of_capture on imaging_objects (capture_id);
create index imaging_objects_of_sitting on imaging_objects (sitting_id);

create table deliveries (
    id                integer primary key autoincrement,
    imaging_object_id integer not null references imaging_objects (id),
    destination       text    not null,
    state             text    not null,
    attempts          integer not null default 0,
    created_at        integer not null,
    finished_at       integer,
    status            integer,
    outcome           text,
    unique (imaging_object_id, destination)
) strict;
