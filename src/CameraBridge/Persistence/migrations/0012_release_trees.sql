-- In which folder tree a removal was begun, since a mount point that a stick has left looks like a stick from which everything was removed.

alter table releases add column tree text not null default '';
