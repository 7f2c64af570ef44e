-- Version 4: what an entry says in figures, as JSON, beside its words: the lines of a departure check, the times of a drill.

ALTER TABLE entry_rows ADD COLUMN figures TEXT; -- null where the words say all

DROP VIEW entries;
CREATE VIEW entries AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc, kind, who, text,
  boot, steady_ms / 1000.0 AS steady_s, figures
FROM entry_rows ORDER BY id;
