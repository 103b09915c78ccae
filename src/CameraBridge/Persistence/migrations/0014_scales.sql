-- What was measured on a photographed scale card: millimetres a pixel, its relative uncertainty, the tilt in degrees, columns and rows of the card's picture.
alter table cues add column scale text;
