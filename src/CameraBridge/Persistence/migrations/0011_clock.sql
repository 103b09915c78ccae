-- The latest time that was seen by the clock which tells what is due, where that is this machine's. A clock that tells less was set back.

create table clock (
    id        integer primary key,
    latest_at integer not null
) strict;
