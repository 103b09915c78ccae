-- What was done to source files after every destination kept their objects: the journal. A row is written before a file is removed, and gets its result after. Never deleted by hand.

create table releases (
    id          integer primary key autoincrement,
    capture_id  integer not null references captures (id),
    state       text    not null,
    words       text,
    begun_at    integer not null,
    ended_at    integer
) strict;
create index releases_of_capture on releases (capture_id, id);
