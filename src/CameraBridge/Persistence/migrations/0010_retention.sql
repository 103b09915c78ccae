-- When a capture's spool file was let go, long after every destination confirmed and its source was released. Its rows stay, so that a stick that comes back is known.

alter table captures add column trimmed_at integer;
create index captures_not_trimmed on captures (id) where trimmed_at is null;
create index captures_of_spool_file on captures (spool_name);
alter table imaging_objects add column trimmed_at integer;
