-- The radio log: calls and messages received. A better copy of a message is a row of its own with the same number.
CREATE VIEW calls AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc,
  json_extract(facts, '$.number') AS number, json_extract(facts, '$.kind') AS kind,
  iif(json_extract(facts, '$.caller') IS NULL, NULL, printf('%09d', json_extract(facts, '$.caller'))) AS caller,
  json_extract(facts, '$.name') AS name, json_extract(facts, '$.to') AS "to",
  json_extract(facts, '$.channel') AS channel, json_extract(facts, '$.navtex') AS navtex,
  json_extract(facts, '$.latitude_deg') AS latitude_deg, json_extract(facts, '$.longitude_deg') AS longitude_deg,
  json_extract(facts, '$.text') AS text, json_extract(facts, '$.wrong_percent') AS wrong_percent,
  json_extract(facts, '$.incomplete') AS incomplete, json_extract(facts, '$.better') AS better,
  boot, steady_ms / 1000.0 AS steady_s,
  iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT feed_names.name FROM feed_names WHERE feed_names.id = entry_rows.feed) AS feed
FROM entry_rows WHERE entry_rows.kind IN ('call', 'urgent call') ORDER BY entry_rows.id;
