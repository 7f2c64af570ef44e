-- Version 2: a sum over each record, by which a flipped bit is seen, and a view of casualties.

ALTER TABLE event_rows ADD COLUMN crc INTEGER; -- CRC-32 (ISO 3309) of record; null in rows of version 1

CREATE VIEW casualties AS SELECT
  casualty, min(strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch')) AS first_utc,
  max(strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch')) AS last_utc,
  json_extract(record, '$.casualty.crew') AS crew, json_extract(record, '$.casualty.beacon_mmsi') AS beacon_mmsi,
  min(json_extract(record, '$.casualty.range_nm')) AS least_range_nm, max(event = 'cleared') AS stood_down, max(exercise) AS exercise
FROM event_rows WHERE casualty IS NOT NULL GROUP BY casualty;
