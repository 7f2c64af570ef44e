"""Decodes a scenario's lines with libraries of other people and compares with what its file says.

    cargo run -q -p scenario --example lines -- FILE | python tests/oracle/encoder.py FILE

Without this a simulation could be wrong in the same way as the decoder that it tests. Decoders: pyais and libais
for AIS, pynmea2 and pynmeagps for the other sentences. What they should find is worked out here from the scenario
file itself where that is a short sum (static data, straight courses, profiles), else from the truth that the
program prints once a second.
"""

import json
import math
import re
import sys
import tomllib
from collections import defaultdict
from datetime import datetime, timedelta

import ais as libais
import pyais
import pynmea2
from pynmeagps import NMEAReader

PASSED, FAILED = 0, []
# Places that satellite receivers told, by feed and time.
TOLD = {}


def check(name, good, detail=""):
    """Counts one check; keeps the first hundred failures to print."""
    global PASSED
    if good:
        PASSED += 1
    else:
        FAILED.append(f"{name}: {detail}")


def seconds(text):
    """Seconds of the file's H:MM or H:MM:SS."""
    parts = [int(p) for p in text.split(":")]
    return parts[0] * 3600 + parts[1] * 60 + (parts[2] if len(parts) > 2 else 0)


def length(text):
    """Seconds of a length of time, such as 1 h 30 min."""
    return sum(float(n) * {"s": 1, "min": 60, "h": 3600, "d": 86400}[unit] for n, unit in re.findall(r"([\d.]+) *([a-z]+)", text))


def degrees(text):
    """Latitude and longitude of the file's degrees and minutes."""
    def half(part, negative):
        number, side = part[:-1], part[-1]
        deg, minutes = number.split("°")
        value = int(deg) + float(minutes.rstrip("′'")) / 60
        return -value if side == negative else value
    lat, lon = text.split()
    return half(lat, "S"), half(lon, "W")


def profile(points, value, at_s):
    """A profile of the file at a time: straight between the points, level outside."""
    points = sorted((seconds(p["at"]), value(p)) for p in points)
    if at_s <= points[0][0]:
        return points[0][1]
    for (t0, a), (t1, b) in zip(points, points[1:]):
        if at_s < t1:
            share = (at_s - t0) / (t1 - t0)
            return tuple(x + (y - x) * share for x, y in zip(a, b))
    return points[-1][1]


def metres(lat1, lon1, lat2, lon2):
    """Distance on a sphere of 6,371,009 m: good to half a percent, and the distances here are small."""
    north = math.radians(lat2 - lat1) * 6371009
    east = math.radians((lon2 - lon1 + 180) % 360 - 180) * 6371009 * math.cos(math.radians(lat1))
    return math.hypot(north, east)


def turn(a, b):
    return abs((b - a + 180) % 360 - 180)


class Truth:
    """The truth, straight between its seconds."""

    def __init__(self, rows):
        self.rows = rows

    def at(self, ms, mmsi):
        i = min(ms // 1000, len(self.rows) - 2)
        a, b = self.find(i, mmsi), self.find(i + 1, mmsi)
        if a is None or b is None:
            return b or a
        share = (ms - i * 1000) / 1000
        mixed = dict(a)
        for key in ("latitude_deg", "longitude_deg", "sog_kn"):
            mixed[key] = a[key] + (b[key] - a[key]) * share
        return mixed

    def find(self, i, mmsi):
        row = self.rows[i]
        for one in [row["own"], *row["ships"], *row["people"]]:
            if one["mmsi"] == mmsi:
                return one
        return None


def ais_messages(rows):
    """(ms, feed, channel, [lines]) of every AIS message; parts are joined by feed and sequence number."""
    waiting = {}
    for row in rows:
        line = row["line"].rsplit("\\", 1)[-1]
        if not line.startswith("!"):
            continue
        fields = line.split(",")
        count, number, sequence, channel = int(fields[1]), int(fields[2]), fields[3], fields[4]
        key = (row["feed"], sequence)
        if number == 1:
            waiting[key] = []
        waiting[key].append(line)
        if number == count:
            yield row["at_ms"], row["feed"], channel, waiting.pop(key)


def libais_decode(lines):
    """libais takes one payload; several parts are put together first."""
    payload = "".join(line.split(",")[5] for line in lines)
    return libais.decode(payload, int(lines[-1].split(",")[6][0]))


def main(file):
    with open(file, "rb") as f:
        plan = tomllib.load(f)
    objects = [json.loads(line) for line in sys.stdin]
    rows = [o for o in objects if "line" in o]
    truth = Truth([o for o in objects if "truth_ms" in o])
    delays = {f["name"]: round(1000 * length(f.get("delay", "0 s"))) for f in plan["feed"]}
    heard = defaultdict(list)
    for ms, feed, channel, lines in ais_messages(rows):
        ms -= delays[feed]
        theirs = pyais.decode(*[line.encode() for line in lines]).asdict()
        other = libais_decode(lines)
        check("both libraries agree on type", theirs["msg_type"] == other["id"], lines)
        check("both libraries agree on mmsi", theirs["mmsi"] == other["mmsi"], lines)
        heard[theirs["mmsi"]].append((ms, feed, channel, theirs, other))
    own_mmsi = int(plan["own"]["mmsi"])
    for message in heard.pop(own_mmsi, []):
        own_report(plan, truth, message)
    for ship in plan.get("ship", []):
        messages = heard.pop(int(ship["mmsi"]), [])
        check("ship heard", messages, ship["mmsi"])
        rhythm(plan, ship, truth, [m for m in messages if m[3]["msg_type"] in (1, 9, 18)])
        for message in messages:
            check("a silent ship", not spans(ship, "silent", message[0]), message[0])
            report(ship, truth, message)
            straight(plan, truth, ship, message[0])
    for aid in plan.get("aid", []):
        for message in heard.pop(int(aid["mmsi"]), []):
            aid_report(aid, message)
    for base in plan.get("base", []):
        for message in heard.pop(int(base["mmsi"]), []):
            base_report(plan, base, message)
    for beacon in plan.get("beacon", []):
        beacon_reports(beacon, truth, heard.pop(int(beacon["mmsi"]), []))
    check("nobody else is heard", not heard, list(heard))
    for row in rows:
        line = row["line"].rsplit("\\", 1)[-1]
        if line.startswith("$"):
            sentence(plan, truth, row["at_ms"] - delays[row["feed"]], row["feed"], line)
        if row["line"].startswith("\\"):
            tag_block(row)


def moving(name, m, want, other, tolerance_m):
    """Position, course and speed of one report in both libraries."""
    off = metres(m["lat"], m["lon"], want["latitude_deg"], want["longitude_deg"])
    check(f"{name} position", off < tolerance_m, f"{off:.1f} m")
    off = metres(other["y"], other["x"], m["lat"], m["lon"])
    check(f"{name} position in libais", off < 0.5, f"{off:.1f} m")
    check(f"{name} sog in libais", abs(other["sog"] - m["speed"]) < 0.06, (other["sog"], m["speed"]))
    check(f"{name} cog in libais", turn(other["cog"], m["course"]) < 0.06, (other["cog"], m["course"]))


def report(ship, truth, message):
    """A ship's position report or static data."""
    ms, _, _, m, other = message
    kind = m["msg_type"]
    if kind in (1, 18, 9):
        check("message fits class", kind == {"A": 1, "B": 18, "B SO": 18, "SAR aircraft": 9}[ship["class"]], kind)
        want = truth.at(ms, m["mmsi"])
        # A ten-thousandth of a minute is 0.19 m, and a turn bends a second's way by less than 2 m.
        moving("ship", m, want, other, 2.0)
        check("ship sog", abs(m["speed"] - want["sog_kn"]) < (0.51 if kind == 9 else 0.06), (m["speed"], want))
        if want["sog_kn"] > 0.05:
            check("ship cog", turn(m["course"], want["cog_deg"]) < 0.06 + abs(want["turn_deg_min"]) / 60, (m, want))
        check("second of UTC", m["second"] == ms // 1000 % 60, (m["second"], ms))
        check("second in libais", other["timestamp"] == m["second"], other)
        heads = ship.get("has_heading", ship["class"] == "A") and kind != 9
        if heads:
            heading = want["course_deg"] + ship.get("crab_deg", 0)
            check("ship heading", turn(m["heading"], heading) <= 1.01 + abs(want["turn_deg_min"]) / 60, (m, heading))
        elif kind != 9:
            check("no heading", m["heading"] == 511, m["heading"])
        if kind == 9:
            check("altitude", m["alt"] == ship.get("altitude_m", 4095) == other["alt"], m["alt"])
        if kind == 1 and abs(want["turn_deg_min"]) in (0, ship.get("turn_deg_min", 30)):
            # pyais gives degrees a minute; one step of the square root at 30°/min is 2.3°/min.
            near = [truth.at(ms + d, m["mmsi"])["turn_deg_min"] for d in (-1000, 0, 1000) if ms + d >= 0]
            check("rate of turn", any(abs(float(m["turn"]) - t) < 1.5 for t in near), (m["turn"], near))
        if kind == 1 and not ship.get("leg"):
            check("nav status", int(m["status"]) == ship.get("nav_status", 0) == other["nav_status"], m["status"])
    elif kind == 5:
        for key, theirs, theirs_too in [
            ("name", "shipname", "name"), ("call_sign", "callsign", "callsign"),
            ("destination", "destination", "destination"),
        ]:
            check(f"5 {key}", m[theirs] == ship.get(key, "") == other[theirs_too].rstrip("@ "), (m[theirs], ship))
        check("5 imo", m["imo"] == ship.get("imo", 0) == other["imo_num"], m["imo"])
        check("5 type", other["type_and_cargo"] == ship.get("ship_type", 0), other["type_and_cargo"])
        check("5 draught", abs(m["draught"] - ship.get("draught_m", 0)) < 0.06, m["draught"])
        sizes(ship, m, other)
    elif kind == 24:
        if m["partno"] == 0:
            check("24A name", m["shipname"] == ship.get("name", "") == other["name"].rstrip("@ "), m["shipname"])
        else:
            check("24B call sign", m["callsign"] == ship.get("call_sign", ""), m["callsign"])
            check("24B type", other["type_and_cargo"] == ship.get("ship_type", 0), other["type_and_cargo"])
            sizes(ship, m, other)
    else:
        check("no other message", False, kind)


# Seconds between two reports by class, ITU-R M.1371-5 annex 1 tables 1 and 2: upper speed limit, steady, turning.
INTERVALS = {
    "A": [(14, 10, 10 / 3), (23, 6, 2), (999, 2, 2)],
    "B": [(2, 180, 180), (999, 30, 30)],
    "B SO": [(2, 180, 180), (14, 30, 30), (23, 15, 15), (999, 5, 5)],
    "SAR aircraft": [(9999, 10, 10)],
}


def rhythm(plan, ship, truth, messages):
    """The reports of a ship whose motion and status did not change between them come at the standard's interval. Only
    where a receiver hears all; others leave gaps."""
    perfect = [f["name"] for f in plan["feed"] if f.get("hears", {}).get("probability") == 1.0]
    times = [ms for ms, feed, *_ in messages if feed in perfect]
    changes = [(1000 * seconds(leg["at"]), leg["nav_status"]) for leg in ship.get("leg", []) if "nav_status" in leg]
    for a, b in zip(times, times[1:]):
        if any(a <= at <= b for at, _ in changes) or any(spans(ship, "silent", t) for t in range(a, b, 1000)):
            continue
        status = [ship.get("nav_status", 0), *(status for at, status in changes if at < a)][-1]
        wanted = set()
        for m in [truth.at(t, int(ship["mmsi"])) for t in range(a, b + 1, 1000)]:
            steady = next((s, t) for most, s, t in INTERVALS[ship["class"]] if m["sog_kn"] <= most)
            wanted.add(180 if status in (1, 5) else steady[1] if abs(m["turn_deg_min"]) >= 10 else steady[0])
        if len(wanted) == 1:
            usual = wanted.pop()
            check("interval", 0.89 * usual <= (b - a) / 1000 <= 1.11 * usual, f"{ship['mmsi']} {a} {b} {usual}")


def sizes(station, m, other):
    want = station.get("dimensions_m", [0, 0, 0, 0])
    check("dimensions", [m[k] for k in ("to_bow", "to_stern", "to_port", "to_starboard")] == want, (m, want))
    check("dimensions in libais", [other[f"dim_{k}"] for k in "abcd"] == want, (other, want))


def straight(plan, truth, ship, ms):
    """The truth itself, for a ship that never turns: its place and a rhumb line, worked out here."""
    if ship.get("leg"):
        return
    place = ship["place"]
    at_ms = 1000 * seconds(place.get("at", "0:00"))
    if "position" in place:
        lat, lon = degrees(place["position"])
    else:
        own = truth.at(at_ms, int(plan["own"]["mmsi"]))
        lat, lon = ahead(own["latitude_deg"], own["longitude_deg"], place["bearing_deg"], place["range_nm"])
    lat, lon = ahead(lat, lon, ship["course_deg"], ship["speed_kn"] * (ms - at_ms) / 3.6e6)
    want = truth.at(ms, int(ship["mmsi"]))
    off = metres(lat, lon, want["latitude_deg"], want["longitude_deg"])
    # 0.1 % of the way for the flattening, which this sum leaves out in its second order.
    check("dead reckoning", off < 5 + abs(ms - at_ms) / 3.6e6 * ship["speed_kn"] * 1.9, f"{ship['mmsi']} {off:.1f} m")


def ahead(lat, lon, course, nm):
    """Middle-latitude sailing with the length of a minute of latitude and longitude on WGS 84 (Bowditch's formulas)."""
    def minute_lat(phi):
        return 1852.22 - 9.32 * math.cos(2 * math.radians(phi))

    def minute_lon(phi):
        return 1857.04 * math.cos(math.radians(phi)) - 1.57 * math.cos(3 * math.radians(phi))
    d_lat = nm * 1852 * math.cos(math.radians(course)) / minute_lat(lat) / 60
    d_lon = nm * 1852 * math.sin(math.radians(course)) / minute_lon(lat + d_lat / 2) / 60
    return lat + d_lat, lon + d_lon


def own_report(plan, truth, message):
    ms, feed, _, m, other = message
    if m["msg_type"] == 24:
        check("own name", m["partno"] == 1 or m["shipname"] == plan["own"]["name"], m)
        return
    error = next(f for f in plan["feed"] if f["name"] == feed).get("gps_error_m", 0)
    want = truth.at(ms, m["mmsi"])
    if m["lat"] == 91:
        check("own without fix", m["lon"] == 181 and m["second"] == 60 and m["speed"] > 102, m)
        return
    moving("own", m, want, other, 6 * error + 2)
    check("own sog", abs(m["speed"] - want["sog_kn"]) < 0.6, (m["speed"], want))
    if m["heading"] == 511:
        check("own vessel heard by another receiver", plan["own"].get("transmits"), m)
        return
    check("own heading", turn(m["heading"], want["course_deg"]) < plan["own"].get("yaw_deg", 0) + 5, m)


def aid_report(aid, message):
    _, _, _, m, other = message
    check("21 type", m["msg_type"] == 21, m)
    full = m["name"] + (m.get("name_ext") or "")
    check("21 name", full == aid["name"], full)
    check("21 kind", int(m["aid_type"]) == aid.get("aid_type", 0) == other["aton_type"], m["aid_type"])
    check("21 place", metres(m["lat"], m["lon"], *degrees(aid["position"])) < 0.5, m)
    check("21 virtual", bool(m["virtual_aid"]) == aid.get("virtual_aid", False) == bool(other["virtual_aton"]), m)
    check("21 off position", bool(m["off_position"]) == aid.get("off_position", False) == bool(other["off_pos"]), m)
    sizes(aid, m, other)


def base_report(plan, base, message):
    ms, _, _, m, other = message
    check("4 type", m["msg_type"] == 4, m)
    check("4 place", metres(m["lat"], m["lon"], *degrees(base["position"])) < 0.5, m)
    want = datetime.fromisoformat(plan["start"]) + timedelta(seconds=ms // 1000)
    got = tuple(m[k] for k in ("year", "month", "day", "hour", "minute", "second"))
    check("4 utc", got == (want.year, want.month, want.day, want.hour, want.minute, want.second), got)
    check("4 utc in libais", got == tuple(other[k] for k in ("year", "month", "day", "hour", "minute", "second")), other)


def spans(table, key, ms):
    """Whether a time lies in one of the table's spans."""
    spans = (table or {}).get(key, [])
    return any(seconds(s["from"]) <= ms / 1000 < seconds(s.get("until", "999:00")) for s in spans)


KINDS = {970: "SART", 972: "MOB", 974: "EPIRB"}


def beacon_reports(beacon, truth, messages):
    """Bursts of eight, two seconds apart, alternating channels; status 14, or 15 in a test; texts; fixes."""
    kind = KINDS[int(beacon["mmsi"]) // 1000000]
    tests = [1000 * seconds(t["at"]) for t in beacon.get("test", [])]
    overboard = beacon.get("overboard")
    began = None if overboard is None else round(1000 * (seconds(overboard["at"]) + length(overboard.get("activation", "5 s"))))
    fixed = None if began is None else began + round(1000 * length(overboard.get("first_fix", "60 s")))
    check("beacon heard", bool(messages) == bool(tests or overboard), beacon["mmsi"])
    for ms, _, channel, m, other in messages:
        check("a silent beacon", not spans(overboard, "silent", ms), ms)
        test = next((t for t in tests if t <= ms <= t + 14000), None)
        if test is None and began is None:
            check("beacon speaks in time", False, ms)
            continue
        start = test if test is not None else began + (ms - began) // 60000 * 60000
        number = (ms - start) / 2000
        check("burst", number in range(8), f"{beacon['mmsi']} {ms} message {number}")
        check("channel", channel == "AB"[int(number) % 2], (number, channel))
        if m["msg_type"] == 14:
            text = f"{kind} {'TEST' if test is not None else 'ACTIVE'}"
            check("text", m["text"] == text == other["text"].rstrip("@"), m["text"])
            if test is None:
                burst = (ms - began) // 60000
                check("text each fourth burst, fifth and sixth", burst % 4 == 0 and number in (4, 5), (burst, number))
            continue
        check("status", int(m["status"]) == (15 if test is not None else 14) == other["nav_status"], m["status"])
        if test is not None or start < fixed:
            check("no fix yet", (m["lat"], m["lon"], m["second"]) == (91, 181, 63), m)
            check("no speed yet", m["speed"] > 102.25 and m["course"] == 360, m)
        else:
            # Without a fix the last one is told, with second 63.
            lost = spans(overboard, "no_fix", start)
            at = start
            while spans(overboard, "no_fix", at):
                at -= 60000
            check("second of a beacon", (m["second"] == 63) == lost, m)
            want = truth.at(at, m["mmsi"])
            off = metres(m["lat"], m["lon"], want["latitude_deg"], want["longitude_deg"])
            check("beacon position", off < 6 * beacon.get("position_error_m", 10), f"{off:.1f} m")


def sentence(plan, truth, ms, feed, line):
    """A sentence of own instruments in pynmea2, and that pynmeagps takes it too."""
    NMEAReader.parse(line + "\r\n")
    m = pynmea2.parse(line, check=True)
    own, at_s = plan["own"], ms / 1000
    wire = next(f for f in plan["feed"] if f["name"] == feed)
    want = truth.at(ms, int(own["mmsi"]))
    variation = own.get("variation_deg", 0)
    blind = any(seconds(s["from"]) <= at_s < seconds(s.get("until", "999:00")) for s in wire.get("no_fix", []))
    # The truth's course is that of the last whole second.
    yaw = own.get("yaw_deg", 0) + 3 + abs(want["turn_deg_min"]) / 60
    kind = m.sentence_type
    if kind in ("RMC", "GGA", "GLL"):
        check(f"{kind} time", m.timestamp.hour * 3600 + m.timestamp.minute * 60 + m.timestamp.second
              == (start_of_day(plan) + ms // 1000) % 86400, line)
        if blind:
            check(f"{kind} says no fix", not m.is_valid and m.lat == "", line)
        else:
            # Sentences of one receiver and one moment tell the same place.
            place = TOLD.setdefault((feed, ms), (m.lat, m.lat_dir, m.lon, m.lon_dir))
            check("one receiver, one place", place == (m.lat, m.lat_dir, m.lon, m.lon_dir), line)
            off = metres(m.latitude, m.longitude, want["latitude_deg"], want["longitude_deg"])
            check(f"{kind} place", m.is_valid and off < 6 * wire.get("gps_error_m", 0) + 0.5, f"{off:.1f} m")
    if kind == "RMC" and not blind:
        check("RMC sog", abs(m.spd_over_grnd - want["sog_kn"]) < 0.6, line)
        if want["sog_kn"] > 1:
            check("RMC cog", turn(m.true_course, want["cog_deg"]) < math.degrees(0.4 / want["sog_kn"]) + 3, (line, want))
        signed = float(m.mag_variation) * (-1 if m.mag_var_dir == "W" else 1)
        check("RMC variation", abs(signed - variation) < 0.06, line)
    elif kind in ("HDT", "HDG"):
        heading = float(m.heading) + (variation if kind == "HDG" else 0)
        check(f"{kind} heading", turn(heading, want["course_deg"]) < yaw, (line, want))
    elif kind == "VHW":
        check("VHW speed", abs(float(m.water_speed_knots) - want["speed_kn"]) < 0.7, (line, want))
        check("VHW km/h", abs(float(m.water_speed_km) - 1.852 * float(m.water_speed_knots)) < 0.15, line)
        check("VHW heading", turn(float(m.heading_true), want["course_deg"]) < yaw, line)
        check("VHW magnetic", turn(float(m.heading_magnetic) + variation, float(m.heading_true)) < 0.11, line)
    elif kind == "DPT":
        (depth,) = profile(plan["depth"], lambda p: (p["below_transducer_m"],), at_s)
        far = depth > plan.get("instruments", {}).get("sounder_range_m", 12000)
        if far:
            check("DPT finds no bottom", m.depth is None, line)
        else:
            check("DPT depth", abs(float(m.depth) - depth) < 0.4 + 0.031 * depth, (line, depth))
    elif kind == "MWV":
        to_east, to_north = profile(plan["wind"], lambda p: vector(p["from_deg"] + 180, p["speed_kn"]), at_s)
        east, north = vector(want["cog_deg"], want["sog_kn"])
        from_deg = math.degrees(math.atan2(east - to_east, north - to_north))
        speed = math.hypot(east - to_east, north - to_north)
        slack = 6 * plan.get("instruments", {}).get("gust_kn", 0) * 1.5 + 0.1
        check("MWV speed", abs(float(m.wind_speed) - speed) < slack and m.wind_speed_units == "N", (line, speed))
        off = turn(float(m.wind_angle), from_deg - want["course_deg"])
        check("MWV angle", off < yaw + math.degrees(math.atan2(slack, speed)) and m.reference == "R", (line, from_deg))
    elif kind == "MDA":
        (hpa,) = profile(plan["pressure"], lambda p: (p["hpa"],), at_s)
        check("MDA bar", abs(float(m.b_pressure_bar) * 1000 - hpa) < 0.4, (line, hpa))
        check("MDA inches", abs(float(m.b_pressure_inch) * 33.8639 - hpa) < 0.6, (line, hpa))
    elif kind == "MTW":
        (celsius,) = profile(plan["water_temperature"], lambda p: (p["celsius"],), at_s)
        check("MTW", abs(float(m.temperature) - celsius) < 0.4, line)
    elif kind == "XDR":
        (volts,) = profile(plan["battery"], lambda p: (p["volts"],), at_s)
        check("XDR", abs(float(m.data[1]) - volts) < 0.08 and m.data[0] == "U", line)
    elif kind == "VTG":
        if not blind and want["sog_kn"] > 1:
            slack = math.degrees(0.4 / want["sog_kn"]) + abs(want["turn_deg_min"]) / 60 + 0.1
            check("VTG cog", turn(float(m.true_track), want["cog_deg"]) < slack, (line, want))
            check("VTG magnetic", turn(float(m.mag_track) + variation, float(m.true_track)) < 0.11, line)
            check("VTG km/h", abs(float(m.spd_over_grnd_kmph) - 1.852 * float(m.spd_over_grnd_kts)) < 0.15, line)
    elif kind == "ZDA":
        told = m.datetime.replace(microsecond=0)
        check("ZDA", told == datetime.fromisoformat(plan["start"]) + timedelta(seconds=ms // 1000), line)
    elif kind == "ROT":
        near = [truth.at(ms + d, int(own["mmsi"]))["turn_deg_min"] for d in (-1000, 0, 1000) if ms + d >= 0]
        check("ROT", any(abs(float(m.rate_of_turn) - t) < 6.1 for t in near), (line, near))
    elif kind == "MWD":
        east, north = profile(plan["wind"], lambda p: vector(p["from_deg"], p["speed_kn"]), at_s)
        speed = math.hypot(east, north)
        slack = 9 * plan.get("instruments", {}).get("gust_kn", 0) + 0.1
        check("MWD speed", abs(float(m.wind_speed_knots) - speed) < slack, (line, speed))
        check("MWD m/s", abs(float(m.wind_speed_meters) * 1.943844 - float(m.wind_speed_knots)) < 0.16, line)
        off = turn(float(m.direction_true), math.degrees(math.atan2(east, north)))
        check("MWD direction", off < math.degrees(math.atan2(slack, speed)), (line, off))
        check("MWD magnetic", turn(float(m.direction_magnetic) + variation, float(m.direction_true)) < 0.11, line)
    elif kind not in ("RMC", "GGA", "GLL"):
        check("known sentence", False, line)


def start_of_day(plan):
    hours, minutes, rest = plan["start"].split("T")[1].split(":")
    return int(hours) * 3600 + int(minutes) * 60 + int(rest[:2])


def vector(direction, speed):
    return speed * math.sin(math.radians(direction)), speed * math.cos(math.radians(direction))


def tag_block(row):
    body, rest = row["line"][1:].split("\\", 1)
    text, checksum = body.split("*")
    total = 0
    for byte in text.encode():
        total ^= byte
    check("TAG checksum", int(checksum, 16) == total, row["line"])
    values = dict(part.split(":", 1) for part in text.split(","))
    utc = datetime.fromisoformat(row["utc"]).timestamp()
    told = float(values["c"])
    told = told / 1000 if told > 1e11 else told
    check("TAG time", abs(told - utc) < 1.0, row["line"])


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: encoder.py SCENARIO.toml < LINES")
    main(sys.argv[1])
    for failure in FAILED[:100]:
        print(failure)
    print(f"{PASSED} checks agree, {len(FAILED)} do not")
    sys.exit(1 if FAILED or not PASSED else 0)
