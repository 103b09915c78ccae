-- Which camera took a picture, as the picture itself tells: a source may be fed by several, each with a clock of its own.
alter table captures add column camera text;

-- How the clock stood by which the pictures of a sitting tell their time, as it was known when the sitting was matched: JSON.
alter table matches add column clock text;

create index captures_of_source on captures (source, settled_at);
