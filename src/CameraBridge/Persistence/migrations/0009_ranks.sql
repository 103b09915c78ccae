-- What goes first to a destination: 0 stills of urgent orders, 1 other stills, 2 clips, which have a lane of their own ("NAME clips"), so that a large one holds up no still.

alter table work add column rank integer not null default 1;
alter table imaging_objects add column rank integer not null default 1;

drop index work_due;
create index work_due on work (stage, lane, spool, rank, due_at, id) where owner is null;
