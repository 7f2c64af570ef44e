-- The logbook. Rows are kept as small whole numbers; the views below give them plain names and units.
-- Every row carries its moment: boot and steady_ms order the log, whatever UTC does; utc_ms is null while UTC is
-- unknown; utc_source is 1 for a satellite receiver, 2 for the computer's own clock, null for none.
-- The feed of a row is the one whose sentence brought it; null where none did (a timer, the crew). A row of own_rows
-- without a feed is own position by dead reckoning.
-- The id of a row of own vessel, target, instrument or feed is (boot << 42 | seconds of steady time << 10) and counts on
-- from there: rows are always put behind the last one, which spares the disk, and are found by time without an index.

CREATE TABLE boot_rows (
  id INTEGER PRIMARY KEY,
  boot TEXT UNIQUE              -- the kernel's boot id; null for a replay, whose steady time is its own
) STRICT;

CREATE TABLE run_rows (
  id INTEGER PRIMARY KEY,
  boot INTEGER NOT NULL, from_ms INTEGER NOT NULL, from_utc_ms INTEGER,
  to_ms INTEGER NOT NULL, to_utc_ms INTEGER, utc_source INTEGER,
  stopped INTEGER NOT NULL DEFAULT 0, -- 1 after an orderly stop, 0 while it runs or when it was cut off
  version TEXT NOT NULL
) STRICT;

CREATE TABLE feed_names (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;

CREATE TABLE own_rows (
  id INTEGER PRIMARY KEY,
  boot INTEGER NOT NULL, steady_ms INTEGER NOT NULL, utc_ms INTEGER, utc_source INTEGER,
  latitude_udeg INTEGER, longitude_udeg INTEGER, cog_ddeg INTEGER, sog_ckn INTEGER, heading_ddeg INTEGER,
  feed INTEGER
) STRICT;

CREATE TABLE target_rows (
  id INTEGER PRIMARY KEY,
  boot INTEGER NOT NULL, steady_ms INTEGER NOT NULL, mmsi INTEGER NOT NULL, utc_ms INTEGER, utc_source INTEGER,
  latitude_udeg INTEGER, longitude_udeg INTEGER, cog_ddeg INTEGER, sog_ckn INTEGER,
  range_mnm INTEGER, bearing_ddeg INTEGER, cpa_mnm INTEGER, tcpa_s INTEGER,
  feed INTEGER
) STRICT;

CREATE TABLE target_names (
  mmsi INTEGER PRIMARY KEY, name TEXT, kind TEXT
) STRICT;

CREATE TABLE instrument_rows (
  id INTEGER PRIMARY KEY,
  boot INTEGER NOT NULL, steady_ms INTEGER NOT NULL, quantity TEXT NOT NULL, utc_ms INTEGER, utc_source INTEGER,
  least REAL, mean REAL, greatest REAL, last REAL NOT NULL, readings INTEGER NOT NULL,
  feed INTEGER
) STRICT;

CREATE TABLE feed_rows (
  id INTEGER PRIMARY KEY,
  boot INTEGER NOT NULL, steady_ms INTEGER NOT NULL, feed TEXT NOT NULL, utc_ms INTEGER, utc_source INTEGER,
  bytes INTEGER NOT NULL, sentences INTEGER NOT NULL, refused INTEGER NOT NULL, dropped INTEGER NOT NULL
) STRICT;

CREATE TABLE event_rows (
  id INTEGER PRIMARY KEY,
  boot INTEGER NOT NULL, steady_ms INTEGER NOT NULL, utc_ms INTEGER, utc_source INTEGER,
  event TEXT NOT NULL, seq INTEGER NOT NULL, alert INTEGER NOT NULL, order_name TEXT NOT NULL,
  origin TEXT NOT NULL,         -- built-in, order, unjudged, crowd, exercise or note: what order_name is the name of
  about TEXT NOT NULL,          -- an item: fix, feed NAME, casualty NUMBER, ...
  priority TEXT NOT NULL, state TEXT, text TEXT NOT NULL, exercise INTEGER NOT NULL,
  own_latitude_deg REAL, own_longitude_deg REAL,
  mmsi INTEGER, target_name TEXT, range_nm REAL, cpa_nm REAL, tcpa_s REAL, casualty INTEGER,
  record TEXT NOT NULL,
  crc INTEGER NOT NULL,         -- CRC-32 (ISO 3309) of record, by which a flipped bit is seen
  feed INTEGER
) STRICT;
CREATE INDEX event_rows_by_time ON event_rows (boot, steady_ms);

CREATE TABLE entry_rows (
  id INTEGER PRIMARY KEY,
  boot INTEGER NOT NULL, steady_ms INTEGER NOT NULL, utc_ms INTEGER, utc_source INTEGER,
  kind TEXT NOT NULL, who TEXT, casualty INTEGER, text TEXT NOT NULL,
  facts TEXT NOT NULL,          -- all of it as JSON; the other columns are made from it, for people
  feed INTEGER
) STRICT;

-- What has not reached its signal yet. A body of null is the event's record; an event of null was written to
-- a logbook that has been set aside. The key is what a receiver knows the delivery by: null is that of this logbook, the
-- event and its number within its alert; any other was given before the event was on disk, and went out with a record
-- whose log_id is null. The logbook's own number is in counters under 'logbook'.
CREATE TABLE delivery_rows (
  id INTEGER PRIMARY KEY,
  event INTEGER, signal TEXT NOT NULL, priority INTEGER NOT NULL, body TEXT,
  boot INTEGER NOT NULL, steady_ms INTEGER NOT NULL, utc_ms INTEGER, utc_source INTEGER,
  key TEXT
) STRICT;

CREATE TABLE state_rows (
  key TEXT PRIMARY KEY, json TEXT NOT NULL,
  boot INTEGER NOT NULL, steady_ms INTEGER NOT NULL, utc_ms INTEGER, utc_source INTEGER
) STRICT, WITHOUT ROWID;

-- Numbers that are never used twice, even after old rows have been removed.
CREATE TABLE counters (name TEXT PRIMARY KEY, last INTEGER NOT NULL) STRICT, WITHOUT ROWID;

CREATE VIEW own AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc,
  latitude_udeg / 1e6 AS latitude_deg, longitude_udeg / 1e6 AS longitude_deg,
  cog_ddeg / 10.0 AS cog_deg, sog_ckn / 100.0 AS sog_kn, heading_ddeg / 10.0 AS heading_deg,
  boot, steady_ms / 1000.0 AS steady_s, iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT name FROM feed_names WHERE feed_names.id = own_rows.feed) AS feed
FROM own_rows ORDER BY own_rows.id;

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
CREATE VIEW instruments AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc, quantity, least, mean, greatest, last, readings,
  boot, steady_ms / 1000.0 AS steady_s, iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT name FROM feed_names WHERE feed_names.id = instrument_rows.feed) AS feed
FROM instrument_rows ORDER BY instrument_rows.id;

CREATE VIEW feeds AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc, feed, bytes, sentences, refused, dropped,
  boot, steady_ms / 1000.0 AS steady_s, iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source
FROM feed_rows ORDER BY feed_rows.id;

CREATE VIEW alerts AS SELECT
  id AS log_id, strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc,
  alert, order_name, origin, about, priority, event, state, text, exercise,
  iif(mmsi IS NULL, NULL, printf('%09d', mmsi)) AS mmsi, target_name, range_nm, cpa_nm, tcpa_s, casualty,
  own_latitude_deg, own_longitude_deg, boot, steady_ms / 1000.0 AS steady_s,
  iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT name FROM feed_names WHERE feed_names.id = event_rows.feed) AS feed
FROM event_rows ORDER BY id;

CREATE VIEW casualties AS SELECT
  casualty, min(strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch')) AS first_utc,
  max(strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch')) AS last_utc,
  json_extract(record, '$.casualty.whose') AS whose, json_extract(record, '$.casualty.crew') AS crew,
  json_extract(record, '$.casualty.beacon_mmsi') AS beacon_mmsi, json_extract(record, '$.casualty.ship_mmsi') AS ship_mmsi,
  min(json_extract(record, '$.casualty.range_nm')) AS least_range_nm, max(event = 'cleared') AS stood_down, max(exercise) AS exercise
FROM event_rows WHERE casualty IS NOT NULL GROUP BY casualty;

CREATE VIEW entries AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc, kind, who, casualty, text,
  boot, steady_ms / 1000.0 AS steady_s, facts,
  iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT name FROM feed_names WHERE feed_names.id = entry_rows.feed) AS feed
FROM entry_rows ORDER BY id;

CREATE VIEW runs AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', from_utc_ms / 1000.0, 'unixepoch') AS from_utc,
  strftime('%Y-%m-%dT%H:%M:%fZ', to_utc_ms / 1000.0, 'unixepoch') AS to_utc,
  (to_ms - from_ms) / 3600000.0 AS hours, iif(stopped, 'stopped in order', 'runs or was cut off') AS how, version,
  run_rows.boot, from_ms / 1000.0 AS from_s, to_ms / 1000.0 AS to_s, boot_rows.boot AS boot_id
FROM run_rows LEFT JOIN boot_rows ON boot_rows.id = run_rows.boot ORDER BY run_rows.id;
