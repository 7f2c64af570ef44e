-- Version 3: the key that a receiver knows a delivery by. Null is that of this logbook, the event and its number within
-- its alert; any other was given before the event was on disk, and went out with a record whose log_id is null.
-- The logbook's own number is in counters under 'logbook'.

ALTER TABLE delivery_rows ADD COLUMN key TEXT;
