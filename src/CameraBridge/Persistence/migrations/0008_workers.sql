-- Several workers on one state. A sitting's pictures lie in the spool of the worker that took them: the id of that spool, or '' where there is one spool only
-- (a state in a file). Work that needs the pictures bears it too, and is leased by those who reach that spool.

alter table sittings add column spool text not null default '';
alter table work add column spool text not null default '';

drop index sittings_joinable;
create unique index sittings_joinable on sittings (source, folder, spool) where joinable = 1;

drop index work_due;
create index work_due on work (stage, lane, spool, due_at, id) where owner is null;

-- Where each spool was last seen, for those who look for a picture or its worker.
create table spools (
    id      text    primary key,
    worker  text    not null,
    folder  text    not null,
    seen_at integer not null
) strict, without rowid;

-- A worker scans a source only while it holds it.
create table source_leases (
    source      text    primary key,
    owner       text    not null,
    lease       integer not null,
    lease_until integer not null
) strict, without rowid;
