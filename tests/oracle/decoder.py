"""Judges `middlewatch listen --json` by the decoders of other people, on recorded sentences.

    middlewatch listen --json FILE… | python tests/oracle/decoder.py FILE…

AIS by pyais, with libais where the two are of two minds; sentences by pynmea2. A field counts where the other decoder
gives it a value that the standard allows; absent, reserved or out of range must be null with us. What a library is known
to get wrong is left to the other one, and said where it happens.
"""

import json
import math
import re
import sys

import ais as libais
import pyais
import pynmea2

AGREE, WRONG = 0, []
LEFT_OUT = {}


def check(name, ours, theirs, line, tolerance=0.0, second=None):
    """One field. `second` is another decoder's word for it, which settles it where `theirs` differs."""
    global AGREE

    def same(a, b):
        if a is None or b is None:
            return a is None and b is None
        if isinstance(a, float) or isinstance(b, float):
            return math.isclose(a, b, abs_tol=tolerance or 1e-9, rel_tol=0)
        return a == b
    if same(ours, theirs) or (second is not None and same(ours, second[0])):
        AGREE += 1
    else:
        WRONG.append(f"{name}: ours {ours!r}, theirs {theirs!r}: {line[:110]}")


def left_out(why):
    LEFT_OUT[why] = LEFT_OUT.get(why, 0) + 1


def limited(value, most, least=0):
    """None where the standard calls it not available or it is out of range."""
    return None if value is None or not least <= value <= most else value


def text(value):
    """Trimmed of blanks at its end, as the standard pads it; nothing is None."""
    value = (value or "").split("@")[0].rstrip()
    return value or None


def ais(ours, lines):
    """One AIS message, whole."""
    line = lines[-1]
    # pyais alone takes characters that six bits do not have; the sentences go without what receivers put behind them.
    bare = [re.search(r"[!$]..VD[MO].*?\*[0-9A-Fa-f]{2}", part).group(0) for part in lines]
    try:
        m = pyais.decode(*[part.encode() for part in bare]).asdict()
    except Exception as error:
        return left_out(f"pyais: {type(error).__name__}")
    payload = "".join(part.split(",")[5] for part in bare)
    try:
        other = libais.decode(payload, int(bare[-1].split(",")[6][0]))
    except Exception:
        other = {}
    if m["msg_type"] != ours["message"]:
        return check("message", ours["message"], m["msg_type"], line)
    check("mmsi", ours["mmsi"], m["mmsi"], line)
    check("repeat", ours["repeat"], m["repeat"], line)
    kind = m["msg_type"]
    if kind not in (1, 2, 3, 4, 5, 9, 11, 12, 14, 18, 19, 21, 24, 27):
        return left_out(f"type {kind}: only its head is read")
    if any(m[key] is None for key in m if key not in ("name_ext", "radio", "data")):
        # Both leave out what a short message lacks, each in its own way.
        return left_out("message cut short")
    long = 27 == kind
    if "lat" in m:
        lat, lon = limited(m["lat"], 90, -90), limited(m["lon"], 180, -180)
        place = None if lat is None or lon is None else (lat, lon)
        grain = 1.1e-3 if long else 1.1e-6
        check("latitude", ours["latitude_deg"], place and lat, line, grain)
        check("longitude", ours["longitude_deg"], place and (lon if lon < 180 else -180.0), line, grain)
        check("position accuracy", ours["position_accurate"], bool(m["accuracy"]), line)
    if "speed" in m:
        top = {9: 1022.0, 27: 62.0}.get(kind, 102.2)
        check("sog", ours["sog_kn"], limited(float(m["speed"]), top + 1e-6), line, 0.051)
    if "course" in m:
        check("cog", ours["cog_deg"], limited(float(m["course"]), 359.95), line, 0.051)
    if "heading" in m:
        check("heading", ours["heading_deg"], limited(m["heading"], 359), line)
    if "second" in m and kind not in (4, 11):
        check("second", ours["utc_second"], limited(m["second"], 59), line)
    if kind in (1, 2, 3, 27):
        check("status", ours["nav_status"], int(m["status"]), line)
    if kind in (1, 2, 3) and other:
        # By the standard's own formula from the eight bits, since the libraries round it or give 720 for "turning".
        raw = signed(payload, 42, 8)
        turn = None if abs(raw) > 126 else math.copysign((raw / 4.733) ** 2, raw)
        check("rate of turn", ours["rate_of_turn_deg_min"], turn, line, 0.06)
    if kind in (1, 2, 3, 4, 9, 11, 18, 19, 21):
        check("raim", ours["raim_flag"], bool(m["raim"]), line)
    if "shipname" in m:
        # pyais strips blanks at the beginning too; libais keeps them but reads _ as -.
        check("name", ours["name"], text(m["shipname"]), line, second=(text(other.get("name")),))
    if kind == 21:
        full = text((m["name"] or "") + (m.get("name_ext") or ""))
        theirs = text((other.get("name") or "") + (other.get("name_ext") or ""))
        check("name", ours["name"], full, line, second=(theirs,))
        check("aid", ours["aid_type"], int(m["aid_type"]) or None, line)
        check("off position", ours["off_position"], bool(m["off_position"]) if m["second"] <= 59 else None, line,
              second=(bool(m["off_position"]),))
        check("virtual", ours["virtual_aid"], bool(m["virtual_aid"]), line)
    if "callsign" in m:
        check("call sign", ours["call_sign"], text(m["callsign"]), line, second=(text(other.get("callsign")),))
    if "ship_type" in m:
        # pyais gives 56 for 57, and nothing for the reserved ones.
        if "type_and_cargo" in other:
            check("type", ours["ship_type"], int(other["type_and_cargo"]) or None, line)
        else:
            left_out("type of ship without libais")
    if "to_bow" in m:
        dims = [ours[f"dimension_{k}_m"] for k in "abcd"]
        theirs = [m[k] for k in ("to_bow", "to_stern", "to_port", "to_starboard")]
        # Nought at both ends of a length or breadth is not available; one nought is a reference point at the edge.
        for name, ours_one, theirs_one in zip("abcd", dims, theirs):
            check(f"dimension {name}", ours_one or 0, theirs_one, line)
    if kind == 5:
        # Seven digits are an IMO number; larger ones are a flag state's own (ITU-R M.1371-5, annex 8, table 52).
        check("imo", ours["imo"], limited(m["imo"], 9_999_999, 1_000_000), line)
        check("draught", ours["draught_m"] or 0.0, float(m["draught"]), line, 0.051)
        check("destination", ours["destination"], text(m["destination"]), line,
              second=(text(other.get("destination")),))
        if ours["eta"]:
            check("eta month", ours["eta"]["month"], m["month"], line)
            check("eta day", ours["eta"]["day"], m["day"], line)
    if kind in (12, 14):
        # libais has all characters; pyais drops blanks before the text.
        check("text", ours["text"], text(m["text"]), line, second=(text(other.get("text")),))
    if kind in (4, 11) and ours["utc"]:
        told = "{year:04}-{month:02}-{day:02}T{hour:02}:{minute:02}:{second:02}.000Z".format(**m)
        check("utc", ours["utc"], told, line)


def signed(payload, first, count):
    """A signed number in a payload, straight from its bits (ITU-R M.1371, IEC 61162-1 six-bit field)."""
    bits = "".join(f"{(ord(c) - 48 if ord(c) < 88 else ord(c) - 56):06b}" for c in payload)
    number = int(bits[first:first + count], 2)
    return number - (1 << count) if bits[first] == "1" else number


def number(value):
    """None where there is no number; a number that is none, like x.9, is none for us too."""
    try:
        return None if value in (None, "") else float(value)
    except ValueError:
        return None


def sentence(ours, line):
    """One other sentence."""
    line = re.search(r"\$.*\*[0-9A-Fa-f]{2}", line).group(0)
    try:
        m = pynmea2.parse(line, check=True)
    except pynmea2.ParseError as error:
        return left_out(f"pynmea2: {type(error).__name__}")
    if not isinstance(m, pynmea2.TalkerSentence):
        return left_out("a maker's own")
    kind = m.sentence_type
    if kind in ("RMC", "GGA", "GLL", "GNS"):
        try:
            good = bool(m.is_valid) if kind != "GNS" else True
            lat, lon = (m.latitude, m.longitude) if m.lat and m.lon else (None, None)
        except (ValueError, AttributeError):
            return left_out(f"{kind}: pynmea2 cannot say where")
        if not good:
            # Whether a position of an invalid fix is kept is not for another decoder to say.
            return left_out(f"{kind}: no valid fix")
        check("latitude", ours["latitude_deg"], lat, line, 1e-7)
        check("longitude", ours["longitude_deg"], lon, line, 1e-7)
    if kind == "RMC":
        check("sog", ours["sog_kn"], number(m.spd_over_grnd), line, 1e-6)
        course = number(m.true_course)
        check("cog", ours["cog_deg"], None if course is None else course % 360, line, 1e-6)
    elif kind == "VTG":
        course = number(m.true_track)
        check("cog", ours["cog_deg"], None if course is None else course % 360, line, 1e-6)
        check("sog", ours["sog_kn"], number(m.spd_over_grnd_kts), line, 1e-6)
    elif kind == "HDT":
        check("true heading", ours["true_deg"], number(m.heading), line, 1e-6)
    elif kind in ("HDM", "HDG"):
        check("magnetic heading", ours["magnetic_deg"], number(m.heading), line, 1e-6)
    elif kind == "VHW":
        check("speed through water", ours["speed_through_water_kn"], number(m.water_speed_knots), line, 1e-6)
    elif kind in ("DPT", "DBT"):
        metres = number(m.depth if kind == "DPT" else m.depth_meters)
        check("depth", ours["below_transducer_m"], metres, line, 1e-6)
    elif kind == "MWV" and m.status == "A":
        factor = {"N": 1.0, "M": 3600 / 1852, "K": 1000 / 1852, "S": 1609.344 / 1852}.get(m.wind_speed_units)
        speed = number(m.wind_speed)
        check("wind speed", ours["speed_kn"], None if None in (factor, speed) else speed * factor, line, 1e-3)
        angle = number(m.wind_angle)
        check("wind angle", ours["angle_deg"], None if angle is None else (angle + 180) % 360 - 180, line, 1e-6)
    elif kind == "MWD":
        check("wind direction", ours["direction_deg"], number(m.direction_true), line, 1e-6)
        metres = number(m.wind_speed_meters)
        speed = number(m.wind_speed_knots)
        check("wind speed", ours["speed_kn"], metres * 3600 / 1852 if speed is None and metres else speed, line, 1e-6)
    elif kind == "MTW" and m.units == "C":
        check("water temperature", ours["water_temperature_c"], number(m.temperature), line, 1e-6)
    elif kind == "MDA" and m.b_pressure_bar:
        check("pressure", ours["pressure_hpa"], number(m.b_pressure_bar) * 1000, line, 1e-6)
    elif kind == "ROT" and getattr(m, "status", "A") == "A":
        check("rate of turn", ours["rate_of_turn_deg_min"], number(m.rate_of_turn), line, 1e-6)
    elif kind not in ("RMC", "GGA", "GLL", "GNS"):
        left_out(f"{kind}: not compared")


def main(files):
    source = {}
    for file in files:
        with open(file, encoding="latin-1") as f:
            source[file] = f.read().splitlines()
    waiting = {}
    for row in sys.stdin:
        ours = json.loads(row)
        if "refused" in ours:
            left_out(f"refused: {ours['refused']}")
            continue
        line = source[ours["feed"]][ours["line"] - 1]
        if "message" not in ours and not re.search(r"[!$]..VD[MO],", line):
            sentence(ours, line)
            continue
        fields = line[re.search(r"[!$]..VD[MO],", line).start():].split(",")
        key = (ours["feed"], fields[1], fields[3], fields[0][-3:])
        if fields[2] == "1":
            waiting[key] = []
        waiting.setdefault(key, []).append(line)
        if "message" in ours:
            lines = waiting.pop(key)
            if len(lines) == int(fields[1]):
                ais(ours, lines)
            else:
                left_out("parts that this check could not join")
    for why, count in sorted(LEFT_OUT.items()):
        print(f"left out {count:5} {why}")
    for wrong in WRONG[:100]:
        print(wrong)
    print(f"{AGREE} checks agree, {len(WRONG)} do not")


if __name__ == "__main__":
    main(sys.argv[1:])
    sys.exit(1 if WRONG or not AGREE else 0)
