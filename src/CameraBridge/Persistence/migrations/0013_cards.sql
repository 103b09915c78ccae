-- What a photographed cue card says: its key, and its value in the form that is kept.
alter table cues add column card_key text;
alter table cues add column card_value text;
