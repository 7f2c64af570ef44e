-- Waypoints of the plan as she reached them.
CREATE VIEW waypoints AS SELECT
  strftime('%Y-%m-%dT%H:%M:%fZ', utc_ms / 1000.0, 'unixepoch') AS utc,
  json_extract(facts, '$.name') AS name,
  json_extract(facts, '$.position.latitude_deg') AS latitude_deg,
  json_extract(facts, '$.position.longitude_deg') AS longitude_deg,
  boot, steady_ms / 1000.0 AS steady_s,
  iif(utc_source = 1, 'satellite', iif(utc_source = 2, 'computer', NULL)) AS utc_source,
  (SELECT feed_names.name FROM feed_names WHERE feed_names.id = entry_rows.feed) AS feed
FROM entry_rows WHERE entry_rows.kind = 'waypoint' ORDER BY entry_rows.id;
