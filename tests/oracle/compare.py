#!/usr/bin/env python3
"""Compares what the sentence crate says of the recorded sentences with four PyPI libraries, field by field.

Fails on any disagreement that EXPLAINED does not cover, and on any explanation that no disagreement needs any more.

Needs pyais 3.3.1, libais 0.17, pynmea2 1.19.0 and pynmeagps 1.1.8. Run from the root of the repository:

    python3 tests/oracle/compare.py                  # builds and runs the crate's example `listen`
    middlewatch listen --json FILE | python3 tests/oracle/compare.py -
"""

import glob
import json
import re
import subprocess
import sys
from collections import Counter

import ais as libais
import pyais
import pynmea2
from pynmeagps import NMEAReader

CONTENT = {1, 2, 3, 4, 5, 9, 11, 12, 14, 18, 19, 21, 24, 27}


def ours():
    """The objects of `listen`, and for an AIS message the lines that it came in."""
    if sys.argv[1:] == ["-"]:
        text = sys.stdin.buffer.read()
    else:
        recorded = b"".join(open(f, "rb").read() for f in sorted(glob.glob("fixtures/recorded/*.nmea")))
        command = ["cargo", "run", "-q", "-p", "sentence", "--example", "listen", "--", "--simulator"]
        text = subprocess.run(command, input=recorded, stdout=subprocess.PIPE, check=True).stdout
    parts = {}
    for row in text.decode("utf-8", "replace").splitlines():
        said = json.loads(row)
        start = re.search(r"[$!]", said["line"])
        if "refused" in said or start is None:
            continue
        line = said["line"][start.start():]
        fields = line[1:].split("*")[0].split(",")
        if said["formatter"] not in ("VDM", "VDO"):
            yield said, [line]
        elif fields[1] == "1":
            yield said, [line]
        else:
            key = (fields[0], fields[1], fields[3], fields[4])
            if fields[2] == "1":
                parts[key] = []
            parts.setdefault(key, []).append(line)
            if "message" in said:
                lines = parts.pop(key)
                if len(lines) == int(fields[1]):
                    yield said, lines


def unless(value, *none):
    """None for a library's own value for "not available"."""
    return None if value is None or value in none else value


def place(lat, lon):
    """Both numbers, or neither."""
    if lat is None or lon is None or (lat, lon) == (91.0, 181.0):
        return {"latitude_deg": None, "longitude_deg": None}
    return {"latitude_deg": lat, "longitude_deg": lon}


def size(a, b, c, d):
    """Pairs of zeros are "not available"."""
    a, b = (None, None) if (a, b) == (0, 0) else (a, b)
    c, d = (None, None) if (c, d) == (0, 0) else (c, d)
    return {"dimension_a_m": a, "dimension_b_m": b, "dimension_c_m": c, "dimension_d_m": d}


def words(text):
    """Trimmed; None where nothing is left."""
    return None if text is None else (text.strip() or None)


def by_pyais(lines):
    m = pyais.decode(*lines)
    d = m.asdict(enum_as_int=True)
    kind = d["msg_type"]
    said = {"message": kind, "mmsi": d["mmsi"], "repeat": d["repeat"]}
    if kind not in CONTENT:
        return said
    if "lat" in d:
        said |= place(d["lat"], d["lon"])
        said["position_accurate"] = d["accuracy"]
    if "speed" in d:
        said["sog_kn"] = unless(d["speed"], {9: 1023.0, 27: 63.0}.get(kind, 102.3))
        said["cog_deg"] = unless(d["course"], 511.0 if kind == 27 else 360.0)
    if "heading" in d:
        said["heading_deg"] = unless(d["heading"], 511)
    if "second" in d and kind not in (4, 11):
        said["utc_second"] = unless(d["second"], 60, 61, 62, 63)
    if kind <= 3:
        said["nav_status"] = d["status"]
        turn = d["turn"]
        said["rate_of_turn_deg_min"] = None if turn in (None, -128.0, 127, -127, 127.0, -127.0) else float(turn)
        said["special_manoeuvre"] = {1: False, 2: True}.get(d["maneuver"])
    if kind == 5:
        said |= size(d["to_bow"], d["to_stern"], d["to_port"], d["to_starboard"])
        said |= {"imo": unless(d["imo"], 0), "call_sign": words(d["callsign"]), "name": words(d["shipname"]),
                 "ship_type": unless(d["ship_type"], 0), "draught_m": unless(d["draught"], 0.0),
                 "destination": words(d["destination"])}
    if kind == 9:
        said["altitude_m"] = unless(d["alt"], 4095)
    if kind in (12, 14):
        said["text"] = words(d["text"])
    if kind == 12:
        said["addressee"] = d["dest_mmsi"]
    if kind == 19:
        said |= size(d["to_bow"], d["to_stern"], d["to_port"], d["to_starboard"])
        said |= {"name": words(d["shipname"]), "ship_type": unless(d["ship_type"], 0)}
    if kind == 21:
        said |= size(d["to_bow"], d["to_stern"], d["to_port"], d["to_starboard"])
        said |= {"name": words(d["full_name"]), "aid_type": unless(d["aid_type"], 0),
                 "off_position": d["off_position"], "virtual_aid": d["virtual_aid"]}
    if kind == 24 and d["partno"] == 0:
        said["name"] = words(d["shipname"])
    if kind == 24 and d["partno"] == 1:
        said |= {"call_sign": words(d["callsign"]), "ship_type": unless(d["ship_type"], 0)}
        said |= size(d["to_bow"], d["to_stern"], d["to_port"], d["to_starboard"])
    if "raim" in d and kind != 21:
        said["raim_flag"] = d["raim"]
    return said


def by_libais(lines):
    fields = [line.split(",") for line in lines]
    d = libais.decode("".join(f[5] for f in fields), int(fields[-1][6][0]))
    kind = d["id"]
    said = {"message": kind, "mmsi": d["mmsi"], "repeat": d["repeat_indicator"]}
    if kind not in CONTENT:
        return said
    # libais fills texts with @.
    text = lambda key: words(d[key].split("@")[0])
    if "y" in d:
        said |= place(d["y"], d["x"])
    if "position_accuracy" in d:
        said["position_accurate"] = bool(d["position_accuracy"])
    if "sog" in d:
        said["sog_kn"] = unless(round(d["sog"], 1), {9: 1023, 27: 63}.get(kind, 102.3))
        said["cog_deg"] = unless(round(d["cog"], 1), 511 if kind == 27 else 360.0)
    if "true_heading" in d:
        said["heading_deg"] = unless(d["true_heading"], 511)
    if "timestamp" in d:
        said["utc_second"] = unless(d["timestamp"], 60, 61, 62, 63)
    if kind <= 3:
        said["nav_status"] = d["nav_status"]
        said["rate_of_turn_deg_min"] = None if d["rot_over_range"] else d["rot"]
        said["special_manoeuvre"] = {1: False, 2: True}.get(d["special_manoeuvre"])
    if kind == 5:
        said |= {"imo": unless(d["imo_num"], 0), "call_sign": text("callsign"), "name": text("name"),
                 "ship_type": unless(d["type_and_cargo"], 0), "draught_m": unless(round(d["draught"], 1), 0.0),
                 "destination": text("destination")}
    if kind == 9:
        said["altitude_m"] = unless(d["alt"], 4095)
    if kind in (12, 14):
        said["text"] = text("text")
    if kind == 12:
        said["addressee"] = d["dest_mmsi"]
    if kind == 19:
        said |= {"name": text("name"), "ship_type": unless(d["type_and_cargo"], 0)}
    if kind == 21:
        said |= {"name": text("name"), "aid_type": unless(d["aton_type"], 0), "off_position": d["off_pos"],
                 "virtual_aid": d["virtual_aton"]}
    if kind == 24 and d["part_num"] == 0:
        said["name"] = text("name")
    if kind == 24 and d["part_num"] == 1:
        said |= {"call_sign": text("callsign"), "ship_type": unless(d["type_and_cargo"], 0)}
    if "dim_a" in d:
        said |= size(d["dim_a"], d["dim_b"], d["dim_c"], d["dim_d"])
    if "raim" in d:
        said["raim_flag"] = d["raim"]
    return said


def number(value):
    return None if value in (None, "") else float(value)


def sided(value, side, minus):
    value = number(value)
    return None if value is None or side in (None, "") else (-value if side == minus else value)


def off_bow(angle):
    angle = number(angle)
    return angle - 360 if angle is not None and angle > 180 else angle


def by_pynmea2(lines):
    m = pynmea2.parse(lines[0], check=True)
    kind = m.sentence_type
    at = lambda: place(m.latitude, m.longitude) if m.lat and m.lon else place(None, None)
    valid = getattr(m, "is_valid", True)
    if kind == "RMC" and valid:
        return at() | {"sog_kn": number(m.spd_over_grnd), "cog_deg": number(m.true_course),
                       "variation_deg": sided(m.mag_variation, m.mag_var_dir, "W")}
    if kind == "GGA" and valid:
        return at() | {"satellites": number(m.num_sats), "hdop": number(m.horizontal_dil)}
    if kind == "GLL" and valid:
        return at()
    if kind == "VTG" and getattr(m, "faa_mode", None) != "N":
        return {"cog_deg": number(m.true_track), "cog_magnetic_deg": number(m.mag_track),
                "sog_kn": number(m.spd_over_grnd_kts)}
    if kind == "HDT":
        return {"true_deg": number(m.heading)}
    if kind == "HDM":
        return {"magnetic_deg": number(m.heading)}
    if kind == "HDG":
        return {"magnetic_deg": number(m.heading), "deviation_deg": sided(m.deviation, m.dev_dir, "W"),
                "variation_deg": sided(m.variation, m.var_dir, "W")}
    if kind == "VHW":
        return {"true_deg": number(m.heading_true), "magnetic_deg": number(m.heading_magnetic),
                "speed_through_water_kn": number(m.water_speed_knots)}
    if kind == "DPT":
        return {"below_transducer_m": number(m.depth), "offset_m": number(m.offset)}
    if kind == "DBT" and m.depth_meters is not None:
        return {"below_transducer_m": number(m.depth_meters)}
    if kind == "MWV" and m.status == "A" and m.wind_speed_units == "N":
        return {"angle_deg": off_bow(m.wind_angle), "speed_kn": number(m.wind_speed)}
    if kind == "MWD":
        return {"direction_deg": number(m.direction_true), "direction_magnetic_deg": number(m.direction_magnetic),
                "speed_kn": number(m.wind_speed_knots)}
    if kind == "VWR":
        return {"angle_deg": sided(m.deg_r, m.l_r, "L"), "speed_kn": number(m.wind_speed_kn)}
    if kind == "ROT" and m.status == "A":
        return {"rate_of_turn_deg_min": number(m.rate_of_turn)}
    if kind == "RSA" and m.rsa_starboard_status == "A":
        return {"rudder_deg": number(m.rsa_starboard)}
    if kind == "TTM" and m.dist_unit == "N":
        return {"range_nm": number(m.distance), "bearing_deg": number(m.bearing), "speed_kn": number(m.speed),
                "course_deg": number(m.cog), "name": words(m.name)}
    if kind == "TLL":
        return at() | {"name": words(m.target_name)}
    return {}


def by_pynmeagps(lines):
    m = NMEAReader.parse(lines[0])
    kind = m.msgID
    at = lambda: place(number(m.lat), number(m.lon))
    mode = getattr(m, "posMode", None)
    if kind == "RMC" and (m.status == "A" and mode != "N" or mode == "S"):
        return at() | {"sog_kn": number(m.spd), "cog_deg": number(m.cog),
                       "variation_deg": sided(m.mv, m.mvEW, "W")}
    if kind == "GGA" and m.quality:
        return at() | {"satellites": number(m.numSV), "hdop": number(m.HDOP)}
    if kind == "GNS" and str(m.posMode).strip("N"):
        return at() | {"satellites": number(m.numSV), "hdop": number(m.HDOP)}
    if kind == "GLL" and m.status == "A" and mode != "N":
        return at()
    if kind == "VTG" and mode != "N":
        return {"cog_deg": number(m.cogt), "cog_magnetic_deg": number(m.cogm), "sog_kn": number(m.sogn)}
    if kind == "HDT":
        return {"true_deg": number(m.headingT)}
    if kind == "HDM":
        return {"magnetic_deg": number(m.headingM)}
    if kind == "HDG":
        return {"magnetic_deg": number(m.headingM), "deviation_deg": sided(m.deviation, m.deviationEW, "W"),
                "variation_deg": sided(m.variation, m.variationEW, "W")}
    if kind == "VHW":
        return {"true_deg": number(m.hdgT), "magnetic_deg": number(m.hdgM), "speed_through_water_kn": number(m.spdN)}
    if kind == "DPT":
        return {"below_transducer_m": number(m.depth), "offset_m": number(m.offset)}
    if kind == "DBT" and number(m.depthm) is not None:
        return {"below_transducer_m": number(m.depthm)}
    if kind == "MWV" and m.status == "A" and m.speedu == "N":
        return {"angle_deg": off_bow(m.angle), "speed_kn": number(m.speed)}
    if kind == "MWD":
        return {"direction_deg": number(m.dirT), "direction_magnetic_deg": number(m.dirM), "speed_kn": number(m.speedN)}
    if kind == "MTW":
        return {"water_temperature_c": number(m.temp)}
    if kind == "ROT" and m.valid == "A":
        return {"rate_of_turn_deg_min": number(m.rot)}
    if kind == "RSA" and m.stbdstatus == "A":
        return {"rudder_deg": number(m.stbdangle)}
    if kind == "RPM" and m.status == "A":
        return {"revolutions_per_min": number(m.rpm)}
    if kind == "THS" and m.mi in ("A", "E", "S"):
        return {"true_deg": number(m.headt)}
    if kind == "HBT":
        return {"interval_s": number(m.repeatint), "normal": m.status == "A"}
    if kind == "TTM" and m.speedu == "N":
        return {"range_nm": number(m.targetdist), "bearing_deg": number(m.targetbearing),
                "speed_kn": number(m.targetspeed), "course_deg": number(m.targetcourse), "name": words(m.targetname)}
    return {}


AIS = {"pyais": by_pyais, "libais": by_libais}
INSTRUMENTS = {"pynmea2": by_pynmea2, "pynmeagps": by_pynmeagps}



def kind(said):
    return said.get("message", 0)


def bits(lines):
    fields = [re.split("[,*]", line) for line in lines]
    return sum(len(f[5]) * 6 - (int(f[6]) if f[6] in list("012345") else 0) for f in fields)


def head_only(said, a, b, lines):
    """A type whose content the crate does not keep."""
    return kind(said) not in CONTENT


def odd_length(said, a, b, lines):
    """Not as long as the table of ITU-R M.1371-5 annex 8 has it."""
    if lines[-1].split(",")[6][0] not in "012345":
        return True
    whole = {5: (424,), 14: range(46, 1009, 6), 19: (312,), 21: range(272, 361), 24: (160, 168), 27: (96,)}
    return bits(lines) not in whole.get(kind(said), (168,))


def short(said, a, b, lines):
    return a is None and b is not None and odd_length(said, a, b, lines)


def no_second(said, a, b, lines):
    return a is None and said["utc_second"] is None


def null(said, a, b, lines):
    return a is None and b is not None


def beyond_at(said, a, b, lines):
    return b is not None and "@" in b and b.split("@")[0].strip() == (a or "")


def part_character(said, a, b, lines):
    start = 72 if kind(said) == 12 else 40
    return (a or "") == b[:-1] and (bits(lines) - start) % 6 != 0


def dash(said, a, b, lines):
    return a is not None and a.replace("_", "-") == b


IMO = "an IMO number has seven digits (M.1371-5 message 5): others are unused or flag states' numbers"
PLACE = "latitude beyond 90° or longitude beyond 180° is reserved"
SECOND = "M.1371-5 message 21: the flag is to be believed only with a second of 0 to 59"
MISSING = "bits that are not there are no answer"

# Library, fields, when (what we say, our value, theirs, the lines), who is right, why.
EXPLAINED = [
    ("pyais", ["refuses"], lambda s, a, b, l: kind(s) > 27, "each", "an unknown type is told by its head"),
    ("pyais", ["refuses"], lambda s, a, b, l: kind(s) == 24 and s["part"] is None, "each",
     "a reserved part of message 24 is told by its head"),
    ("pyais", ["refuses"], lambda s, a, b, l: "InvalidNMEA" in b, "we",
     "a single sentence's odd sequence identifier or fill bits cost no message"),
    ("pyais", ["refuses"], lambda s, a, b, l: kind(s) == 24 and s["mmsi"] // 10**7 == 98, "each",
     "a craft of a parent ship has no dimensions, so the library has no such field"),
    ("pyais", ["rate_of_turn_deg_min"], lambda s, a, b, l: a is not None and abs(a - b) <= 0.5, "each",
     "the library rounds to whole degrees a minute"),
    ("pyais", ["off_position"], no_second, "we", SECOND),
    ("pyais", ["latitude_deg", "longitude_deg"], null, "we", PLACE),
    ("pyais", ["heading_deg"], lambda s, a, b, l: a is None and b >= 360, "we", "360 to 510 are reserved"),
    ("pyais", ["imo"], null, "we", IMO),
    ("pyais", ["name", "text", "call_sign"], beyond_at, "we", "@ ends a text"),
    ("pyais", ["text"], part_character, "we", "a character of fewer than six bits is none"),
    ("pyais", ["name"], lambda s, a, b, l: a[:19] + a[20:] == b, "we",
     "a blank at the end of the name stays before its extension"),
    ("pyais", ["ship_type"], lambda s, a, b, l: a >= 100 and b is None, "each",
     "100 and more are for regions or reserved: a number here, nothing there"),
    ("pyais", ["cog_deg"], odd_length, "we", MISSING),
    ("pyais", ["dimension_c_m", "dimension_d_m"], lambda s, a, b, l: bits(l) < 168, "we", MISSING),
    ("libais", ["refuses"], head_only, "each", "a type that we tell by its head only"),
    ("libais", ["refuses"], odd_length, "we", "an odd length or odd fill bits do not take the fields that are whole with them"),
    ("libais", ["refuses"], lambda s, a, b, l: kind(s) == 24 and s["part"] is None, "each",
     "a reserved part of message 24 is told by its head"),
    ("libais", ["dimension_a_m", "dimension_b_m", "dimension_c_m", "dimension_d_m"],
     lambda s, a, b, l: a is None and s["mmsi"] // 10**7 == 98, "we",
     "a craft of a parent ship carries its parent's identity there"),
    ("libais", ["off_position"], no_second, "we", SECOND),
    ("libais", ["latitude_deg", "longitude_deg"], null, "we", PLACE),
    ("libais", ["imo"], null, "we", IMO),
    ("libais", ["virtual_aid", "raim_flag"], short, "we", MISSING),
    ("libais", ["name"], lambda s, a, b, l: kind(s) == 24 and s["part"] == "B", "we",
     "the part number says B; the library takes any message 24 of 160 bits for part A"),
    ("libais", ["name", "text", "destination"], dash, "we", "the library writes _ as - (six-bit code 31)"),
    ("pynmea2", ["refuses"], lambda s, a, b, l: "Unknown sentence type" in b or "sentence_type" in b, "each",
     "the library does not read this formatter, or a maker's own under another name"),
    ("pynmea2", ["refuses"], lambda s, a, b, l: s["formatter"] == "GGA", "we",
     "decimal degrees in the place of degrees and minutes cost the position, not the rest"),
    ("pynmea2", ["refuses"], lambda s, a, b, l: s["formatter"].endswith("Q"), "each",
     "a query asks for a sentence and is none"),
    ("pynmea2", ["speed_kn"], lambda s, a, b, l: s["formatter"] == "MWD" and b is None, "we", "metres a second, turned into knots"),
    ("pynmea2", ["cog_deg"], lambda s, a, b, l: (a, b) == (0, 360), "each", "north is 0 here"),
    ("pynmeagps", ["refuses"], lambda s, a, b, l: s["formatter"] in ("ACN", "MTW", "MSS", "TRD"), "each",
     "a field of the wrong kind is no value, and no reason to drop the line"),
    ("pynmeagps", ["refuses"], lambda s, a, b, l: s["formatter"] in ("RMC", "MWV"), "we",
     "a sentence that ends early is read as far as it goes"),
    ("pynmeagps", ["water_temperature_c"], lambda s, a, b, l: not l[0].split("*")[0].endswith(",C"), "we",
     "a unit that is not C is no Celsius"),
    ("pynmeagps", ["speed_kn"], lambda s, a, b, l: s["formatter"] == "MWD" and b is None, "we", "metres a second, turned into knots"),
    ("pynmeagps", ["cog_deg"], lambda s, a, b, l: (a, b) == (0, 360), "each", "north is 0 here"),
]


def alike(a, b):
    if a is None or b is None or isinstance(a, str) or isinstance(b, str):
        return a == b
    return abs(a - b) <= max(1e-5, abs(a) * 1e-6)


def main():
    used, unexplained, counts = Counter(), [], Counter()

    def disagree(name, field, said, a, b, lines):
        for n, (library, fields, when, _, _) in enumerate(EXPLAINED):
            if library == name and field in fields and when(said, a, b, lines):
                used[n] += 1
                return
        unexplained.append(f"{name} {field}: ours {a!r}, theirs {b!r}: {' '.join(lines)}")

    for said, lines in ours():
        libraries = AIS if said["formatter"] in ("VDM", "VDO") else INSTRUMENTS
        for name, read in libraries.items():
            try:
                theirs = read(lines)
            except Exception as why:  # whatever a library throws, it does not read the line
                disagree(name, "refuses", said, None, f"{type(why).__name__}: {why}", lines)
                continue
            counts[name, "messages"] += 1
            for field, b in theirs.items():
                counts[name, "fields"] += 1
                a = said.get(field)
                if not alike(a, b):
                    disagree(name, field, said, a, b, lines)

    for key in sorted(counts):
        print(f"{counts[key]:6} {key[0]} {key[1]}")
    for n, (library, fields, _, right, why) in enumerate(EXPLAINED):
        print(f"{used[n]:6} × {library} {', '.join(fields)}: right: {right}: {why}")
    idle = [e[4] for n, e in enumerate(EXPLAINED) if not used[n]]
    for why in idle:
        print(f"explains nothing any more: {why}")
    for line in unexplained:
        print(f"UNEXPLAINED {line}")
    if unexplained or idle or len({name for name, _ in counts}) < 4:
        sys.exit(f"{len(unexplained)} unexplained, {len(idle)} idle explanations")


if __name__ == "__main__":
    main()
