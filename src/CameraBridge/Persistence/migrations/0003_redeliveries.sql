-- What people asked to be sent again: what each delivery was until then (its state, the peer's status, the last word), who asked and when. Never written over.
-- For a delivery that had ended the latest row is where its time to be given up begins anew; one that was waiting had its next attempt brought forward.

create table redeliveries (
    id          integer primary key autoincrement,
    delivery_id integer not null references deliveries (id),
    state       text    not null,
    status      integer,
    outcome     text,
    decided_by  text    not null,
    decided_at  integer not null
) strict;
create index redeliveries_of_delivery on redeliveries (delivery_id, id);

-- What is not delivered has work or is one of these.
create index deliveries_ended on deliveries (id) where state in ('Refused', 'GivenUp');
