-- Version 5: by which feed a row came, and in the views, whence UTC is known and by which feed.
-- The feed of a row is the one whose sentence brought it; null where none did (a timer, the crew, an older version).

CREATE TABLE feed_names (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
ALTER TABLE own_rows ADD COLUMN feed INTEGER;
ALTER TABLE target_rows ADD COLUMN feed INTEGER;
ALTER TABLE instrument_rows ADD COLUMN feed INTEGER;
ALTER TABLE event_rows ADD COLUMN feed INTEGER;
ALTER TABLE entry_rows ADD COLUMN feed INTEGER;

DROP VIEW own;
CREATE VIEW own AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc,
  latitude_udeg / 1e6 AS latitude_deg, longitude_udeg / 1e6 AS longitude_deg,
  cog_ddeg / 10.0 AS cog_deg, sog_ckn / 100.0 AS sog_kn, heading_ddeg / 10.0 AS heading_deg,
  boot, steady_ms / 1000.0 AS steady_s, iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT name FROM feed_names WHERE feed_names.id = own_rows.feed) AS feed
FROM own_rows ORDER BY own_rows.id;

DROP VIEW targets;
CREATE VIEW targets AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc,
  printf('%09d', target_rows.mmsi) AS mmsi, name, kind,
  latitude_udeg / 1e6 AS latitude_deg, longitude_udeg / 1e6 AS longitude_deg,
  cog_ddeg / 10.0 AS cog_deg, sog_ckn / 100.0 AS sog_kn,
  range_mnm / 1000.0 AS range_nm, bearing_ddeg / 10.0 AS bearing_deg, cpa_mnm / 1000.0 AS cpa_nm, tcpa_s,
  boot, steady_ms / 1000.0 AS steady_s, iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT feed_names.name FROM feed_names WHERE feed_names.id = target_rows.feed) AS feed
FROM target_rows LEFT JOIN target_names USING (mmsi) ORDER BY target_rows.id;

-- One row a quantity and minute. The least and greatest of a direction are those most to port and to starboard of its mean.
DROP VIEW instruments;
CREATE VIEW instruments AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc, quantity, least, mean, greatest, last, readings,
  boot, steady_ms / 1000.0 AS steady_s, iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT name FROM feed_names WHERE feed_names.id = instrument_rows.feed) AS feed
FROM instrument_rows ORDER BY instrument_rows.id;

DROP VIEW feeds;
CREATE VIEW feeds AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc, feed, bytes, sentences, refused, dropped,
  boot, steady_ms / 1000.0 AS steady_s, iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source
FROM feed_rows ORDER BY feed_rows.id;

DROP VIEW alerts;
CREATE VIEW alerts AS SELECT
  id AS log_id, strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc,
  alert, order_name, priority, event, state, text, exercise,
  iif(mmsi IS NULL, NULL, printf('%09d', mmsi)) AS mmsi, target_name, range_nm, cpa_nm, tcpa_s, casualty,
  own_latitude_deg, own_longitude_deg, boot, steady_ms / 1000.0 AS steady_s,
  iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT name FROM feed_names WHERE feed_names.id = event_rows.feed) AS feed
FROM event_rows ORDER BY id;

DROP VIEW entries;
CREATE VIEW entries AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc, kind, who, text,
  boot, steady_ms / 1000.0 AS steady_s, figures,
  iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT name FROM feed_names WHERE feed_names.id = entry_rows.feed) AS feed
FROM entry_rows ORDER BY id;

DROP VIEW runs;
CREATE VIEW runs AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', from_utc_ms / 1000.0, 'unixepoch') AS from_utc,
  strftime('%Y-%m-%dT%H:%M:%fZ', to_utc_ms / 1000.0, 'unixepoch') AS to_utc,
  (to_ms - from_ms) / 3600000.0 AS hours, iif(stopped, 'stopped in order', 'runs or was cut off') AS how, version,
  run_rows.boot, from_ms / 1000.0 AS from_s, to_ms / 1000.0 AS to_s, boot_rows.boot AS boot_id
FROM run_rows LEFT JOIN boot_rows ON boot_rows.id = run_rows.boot ORDER BY run_rows.id;
