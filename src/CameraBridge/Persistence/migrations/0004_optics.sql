-- What a sidecar says of how a picture was taken, beyond side and optic: JSON, every key with its values as OpticValues keeps them.
alter table cues add column optic_values text;

-- Stills and clips of an optic are series of their own.
alter table series add column kind text not null default 'Still';
