-- What the RIS is told of a sitting, beside the flow: one performed procedure step, and another one for pictures that become objects after it has ended (append).
-- Made with the match, so that the UID stands in the objects; ends_at is when it was to be ended, which waits for the RIS's word on its beginning.

create table performed_steps (
    id             integer primary key autoincrement,
    sitting_id     integer not null references sittings (id),
    SOPInstanceUID text    not null unique,
    state          text    not null,
    begins_at      integer not null,
    ends_at        integer,
    status         integer,
    words          text
) strict;
create index performed_steps_of_sitting on performed_steps (sitting_id, id);
create index performed_steps_for_a_person on performed_steps (id) where state = 'Refused';

alter table imaging_objects add column performed_step_id integer;
