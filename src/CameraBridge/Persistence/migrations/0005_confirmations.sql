-- Whether archives keep what was delivered. One row for each delivery that is to be confirmed: made when the archive first said that it stored the object.
-- asked counts requests and queries since the object was last sent, sent_again how often it was sent again since the archive did not have it.

alter table imaging_objects add column StudyInstanceUID text not null default '';
alter table imaging_objects add column SeriesInstanceUID text not null default '';

create table confirmations (
    delivery_id  integer primary key references deliveries (id),
    state        text    not null,
    way          text,
    asked        integer not null default 0,
    sent_again   integer not null default 0,
    words        text,
    created_at   integer not null,
    finished_at  integer
) strict;
create index confirmations_for_a_person on confirmations (delivery_id) where state = 'Unconfirmed';

-- Requests for storage commitment, stored before they are sent: a report may come at any time after, in any association, and after a restart.
create table commitments (
    TransactionUID text    primary key,
    destination    text    not null,
    asked_at       integer not null,
    reported_at    integer
) strict, without rowid;

create table commitment_items (
    TransactionUID text    not null references commitments (TransactionUID),
    delivery_id    integer not null references deliveries (id),
    primary key (TransactionUID, delivery_id)
) strict, without rowid;
create index commitment_items_of_delivery on commitment_items (delivery_id);
