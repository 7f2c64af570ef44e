"""A daemon that stands its watch on a clock that stands still between steps, so that two runs give the same.

`tests/shim/clock.c` holds steady time and UTC at what a file says. A step moves them, lets timers that have come due
run, then sends lines and acts. Nothing here waits for a fixed time where it can ask.
"""

import http.client
import http.server
import json
import math
import mmap
import os
import re
import socket
import struct
import subprocess
import threading
import time
from datetime import datetime, timedelta, timezone
from pathlib import Path

BEGAN_S = 5_000
EVENING = datetime(2026, 3, 14, 20, 58, tzinfo=timezone.utc)
# A question that changes nothing, is not recorded, and lets timers run: nobody has this number.
POKE = {"casualty": 4_000_000}

BOAT = """version = 1
[vessel]
name = "Wendelin"
mmsi = "211000001"
call_sign = "DABC"
draught_m = 1.9
transducer_depth_m = 0.5
motoring_speed_kn = 5.5
masthead_m = 14
[[crew]]
name = "Ada"
beacon = "972000001"
until = "2026-05"
[[crew]]
name = "Bo"
[[gear]]
name = "liferaft"
due = "2026-04-10"
[[gear]]
name = "flares"
due = "2026-03-14"
note = "behind the companionway"
[passage]
ends = "2026-03-20"
[watch]
skipper = "Ada"
ship_time_h = 1
roster = [{ who = "Bo", from = "18:00", to = "22:00" }, { who = "Ada", from = "22:00", to = "02:00" }]
[watch.alarm]
dormant_period = "8 min"
reset_from = ["helm"]
[[feed]]
name = "bus"
udp = "127.0.0.1:{bus}"
silent_after = "45 s"
trusted = true
[[feed]]
name = "ais"
udp = "127.0.0.1:{ais}"
silent_after = "2 min"
[[feed]]
name = "plotter"
file = "plotter.nmea"
silent_after = "5 min"
[[signal]]
name = "watch"
webhook = "http://127.0.0.1:{posts}/watch"
from = "notice"
[[signal]]
name = "skipper"
webhook = "http://127.0.0.1:{posts}/skipper"
reaches = "skipper"
[[signal]]
name = "bunk"
webhook = "http://127.0.0.1:{posts}/bunk"
reaches = "Bo"
rest = "22:00 to 06:00"
[[signal]]
name = "all"
webhook = "http://127.0.0.1:{posts}/all"
reaches = "all hands"
body = '{"order": "${alert.order}", "words": "${alert.text}", "lat": ${own.latitude_deg}}'
[[signal]]
name = "cabin"
webhook = "http://127.0.0.1:{posts}/cabin"
rest = "21:00 to 06:00"
from = "caution"
[orders]
path = "orders.toml"
[logbook]
path = "logbook.db"
sentences = "sentences"
[control]
path = "control.sock"
"""

ORDERS = """version = 1
[[order]]
name = "shoal"
priority = "alarm"
when = "depth below keel is under 3 m"
held = "5 s"
text = "{depth below keel} below the keel"
[[order]]
name = "fast"
priority = "warning"
when = "SOG is over 5.5 kn"
held = "10 s"
text = "SOG {SOG}"
[[order]]
name = "close approach"
each = "target"
priority = "alarm"
when = { all = ["CPA is under 1 nm", "TCPA is under 15 min", "TCPA is over 0 min"] }
text = "{name}: CPA {CPA} in {TCPA}, now {range} off, bearing {bearing}"
[[order]]
name = "glass"
priority = "caution"
when = "pressure is under 1000 hPa"
text = "Pressure {pressure}"
"""


class Night:
    """What is heard and done: steps of (seconds, lines by feed, things to do)."""

    def __init__(self, looks: bool, length_s: int):
        self.looks, self.length_s = looks, length_s

    def steps(self):
        own = (49.0, -7.0)
        for t in range(0, self.length_s, 10):
            speed = 5.0 if t < 200 else 6.2 + (t % 70) / 20
            own = (own[0] + speed * 10 / 3600 / 60, own[1])
            depth = 2.0 if 150 <= t < 230 else 30 - t / 60
            glass = 1003 - t / 150
            stamp = EVENING + timedelta(seconds=t)
            bus = [] if 400 <= t < 480 else instruments(stamp, own, speed, depth, glass)
            yield 10, {"bus": bus + self.bridge(t), "ais": ships(t, own)}, self.doings(t)

    def bridge(self, t):
        return [sentence("$IIACN,210400.00,,10001,12,A,C")] if t == 370 else []

    def doings(self, t):
        """Verbs of the command line, bodies for a path, or files to write."""
        told = {
            20: [["note", "It's cold: $5 for a tea!\\ *"], ["declare", "under sail"]],
            50: [["acknowledge", "999"], ["stand-down", "--reason", "recovered"], ["declare", "asleep"]],
            180: [["silence", "7"], ["silence", "1"]],
            190: [["acknowledge", "7"]],
            210: [["watch-alarm", "on"]],
            250: [["handover", "Cleo"]],
            330: [["casualty", "1"], ["acknowledge"]],
            350: [["overboard", "Bo", "--late", "5"]],
            380: [
                ["casualty", "2", "--brief", "--search", "square", "--spacing", "0.1", "--gpx", "pattern.gpx"],
                ["casualty", "2", "--search", "sector", "--radius", "0.5", "--json"],
                ["casualty", "2", "--search", "square", "--spacing", "0.1", "--searched"],
            ],
            500: [["stand-down", "2", "--reason", "recovered"], ["stand-down", "1", "--reason", "nonsense"]],
            510: [["stand-down", "1", "--reason", "false activation"], ["acknowledge"]],
            520: [("orders.toml", ORDERS.replace("3 m", "27 m") + "[[order]]\nname = 3\n"), ["reload"]],
            540: [("orders.toml", ORDERS.replace("3 m", "27 m")), ["reload"]],
            560: [["declare", "at anchor"], ["watch-alarm", "reset", "helm"], ["watch-alarm", "reset"]],
            570: [["drill", "overboard"], ["stand-down", "3", "--reason", "handed over"]],
            580: [["passage", "to", "Horta"], ["drill", "overboard"]],
            620: [["drill"], ["drill", "--json"], ["drill", "spotter"]],
            630: [["casualty"], ["drill", "alongside"]],
            640: [["drill", "end"], ["declare", "under power"], ["declare", "coastal"]],
            650: [["departure", "--by", "Ada", "--wait", "1"]],
            660: [["passage", "--end"], ["backup", "copy.db"], {"path": "/test", "body": {"signal": "nobody"}}],
            680: [{"path": "/act", "body": {"act": "acknowledge", "alert": "x"}}, {"path": "/nowhere"}],
        }.get(t, [])
        looks = [
            ["status"], ["status", "--json"], ["handover"], ["handover", "--json"], ["departure", "--look"],
            ["departure", "--look", "--json"], {"path": "/metrics"}, ["casualty"], ["drill"],
        ]
        last = t + 10 >= self.length_s
        return told + (looks if last or self.looks and t % 80 == 70 else [])


def sentence(body):
    check = 0
    for byte in body[1:].encode():
        check ^= byte
    return f"{body}*{check:02X}\r\n"


def instruments(stamp, own, speed, depth, glass):
    minutes = lambda value, digits: f"{int(abs(value)):0{digits}}{abs(value) % 1 * 60:07.4f}"
    where = f"{minutes(own[0], 2)},N,{minutes(own[1], 3)},W"
    clock, day = stamp.strftime("%H%M%S.00"), stamp.strftime("%d%m%y")
    return [sentence(s) for s in (
        f"$GPRMC,{clock},A,{where},{speed:.1f},000.0,{day},,,A",
        "$HEHDT,002.0,T", f"$IIVHW,,T,,M,{speed - 0.4:.1f},N,,K", f"$SDDPT,{depth:.1f},0.0,",
        "$WIMWV,050.0,R,14.5,N,A", f"$IIXDR,P,{glass / 1000:.4f},B,Barometer",
    )]


def ais(mmsi, status, position, sog, cog, kind=1):
    """A position report of class A (ITU-R M.1371), as a beacon sends it too."""
    bits = ""
    fields = [
        (kind, 6), (0, 2), (mmsi, 30), (status, 4), (-128, 8), (round(sog * 10), 10), (1, 1),
        (round(position[1] * 600_000), 28), (round(position[0] * 600_000), 27), (round(cog * 10), 12), (511, 9),
        (60, 6), (0, 2), (0, 3), (0, 1), (0, 19),
    ]
    for value, width in fields:
        bits += f"{value & (1 << width) - 1:0{width}b}"
    return armour(bits)


def static(mmsi, name):
    """A class B name (message 24 A)."""
    bits = f"{24:06b}{0:02b}{mmsi:030b}{0:02b}"
    bits += "".join(f"{ord(c) & 63:06b}" for c in name.ljust(20, "@")) + "0" * 8
    return armour(bits)


def armour(bits):
    fill = -len(bits) % 6
    bits += "0" * fill
    values = (int(bits[i:i + 6], 2) for i in range(0, len(bits), 6))
    return sentence(f"!AIVDM,1,1,,A,{''.join(chr(v + (48 if v < 40 else 56)) for v in values)},{fill}")


def ships(t, own):
    """One that crosses ahead, one that does not move, a beacon on trial, then Ada's and a stranger's in earnest."""
    at = lambda north, east: (own[0] + north / 60, own[1] + east / 60 / math.cos(math.radians(own[0])))
    lines = [ais(538001001, 0, at(2.0 - t * 5 / 3600, 3.0 - t * 12 / 3600), 12, 270)]
    if t % 60 == 0:
        lines += [static(538001001, "ORRIN FALDE"), ais(538001002, 1, (49.2, -7.0), 0, 0)]
    if t == 40:
        lines.append(ais(972000001, 15, (91, 181), 102.3, 360))
    if 300 <= t < 420:
        lines.append(ais(972000001, 14, (91, 181) if t < 320 else (49.005, -7.0), 0.4, 90))
    if t == 460:
        lines.append(ais(970000123, 14, (49.1, -7.1), 0, 0))
    return lines


class Posts(http.server.ThreadingHTTPServer):
    """Takes all posts and keeps them."""

    daemon_threads = True

    def __init__(self):
        self.kept, self.last = [], 0.0
        super().__init__(("127.0.0.1", 0), Posted)
        threading.Thread(target=self.serve_forever, args=(0.05,), daemon=True).start()


class Posted(http.server.BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"])).decode()
        self.server.kept.append((self.path, re.sub(r'"log_id":(\d+|null)', '"log_id":0', body)))
        self.server.last = time.monotonic()
        self.send_response(200)
        self.end_headers()

    def log_message(self, *_):
        pass


class Control(http.client.HTTPConnection):
    """HTTP on the control socket."""

    def __init__(self, path):
        super().__init__("localhost", timeout=20)
        self.path = path

    def connect(self):
        self.sock = socket.socket(socket.AF_UNIX)
        self.sock.settimeout(20)
        self.sock.connect(self.path)


class Daemon:
    def __init__(self, program: Path, folder: Path, shim: Path):
        self.program, self.folder = program, folder
        self.posts = Posts()
        free = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(2)]
        for s in free:
            s.bind(("127.0.0.1", 0))
        self.ports = {name: s.getsockname()[1] for name, s in zip(("bus", "ais"), free)}
        for s in free:
            s.close()
        self.wire = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        boat = BOAT
        for name, port in [*self.ports.items(), ("posts", self.posts.server_port)]:
            boat = boat.replace("{%s}" % name, str(port))
        if subprocess.run([program, "check", "--reference"], capture_output=True).returncode == 0:
            # This build has the reference, and the one spelling of hours.
            boat = re.sub(r'from = "([^"]+)", to = "([^"]+)"', r'hours = "\1 to \2"', boat)
        (folder / "boat.toml").write_text(boat)
        (folder / "orders.toml").write_text(ORDERS)
        (folder / "plotter.nmea").write_text(sentence("$IIVHW,,T,,M,4.6,N,,K") + sentence("$IIXTE,A,A,0.1,L,N"))
        clock = folder / "clock"
        clock.write_bytes(bytes(16))
        with open(clock, "r+b") as file:
            self.clock = mmap.mmap(file.fileno(), 16)
        self.now_s = 0
        self.advance(0)
        self.stderr = open(folder / "stderr", "wb")
        self.child = subprocess.Popen(
            [program, "run", "--config", "boat.toml"], cwd=folder, stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL, stderr=self.stderr,
            env={**os.environ, "LD_PRELOAD": str(shim), "CLOCK_FILE": str(clock)},
        )
        end = time.monotonic() + 30
        while True:
            try:
                if self.ask("/casualty", POKE)[0] == 409:
                    break
            except OSError:
                pass
            if time.monotonic() > end or self.child.poll() is not None:
                raise RuntimeError("the daemon does not answer: " + (folder / "stderr").read_text())
            time.sleep(0.02)
        # The file's lines are heard before the first step.
        time.sleep(0.6)

    def advance(self, s):
        self.now_s += s
        utc = int(EVENING.timestamp()) + self.now_s
        struct.pack_into("=2q", self.clock, 0, (BEGAN_S + self.now_s) * 10**9, utc * 10**9)

    def ask(self, path, body=None):
        """An answer's status and text."""
        # Sockets' paths are short: this one is reached through the folder's own descriptor.
        there = os.open(self.folder, os.O_PATH)
        try:
            c = Control(f"/proc/self/fd/{there}/control.sock")
            payload = None if body is None else json.dumps(body)
            c.request("GET" if body is None else "POST", path, payload, {"Content-Type": "application/json"})
            answer = c.getresponse()
            return answer.status, answer.read().decode()
        finally:
            os.close(there)

    def poke(self):
        """Everything that was read is heard, and every timer that is due has run."""
        self.ask("/casualty", POKE)

    def say(self, feed, lines):
        port = self.ports[feed]
        self.wire.sendto("".join(lines).encode(), ("127.0.0.1", port))
        end = time.monotonic() + 20
        while self.waiting(port):
            if time.monotonic() > end:
                raise RuntimeError(f"nobody reads {feed}")
            time.sleep(0.002)
        time.sleep(0.025)
        self.poke()

    def waiting(self, port):
        """Whether bytes wait in the kernel for a port."""
        for line in Path("/proc/net/udp").read_text().splitlines()[1:]:
            parts = line.split()
            if int(parts[1].split(":")[1], 16) == port:
                return int(parts[4].split(":")[1], 16) > 0
        return True

    def do(self, what):
        """Does one thing, and gives the lines that tell what came of it."""
        if isinstance(what, tuple):
            (self.folder / what[0]).write_text(what[1])
            return []
        if isinstance(what, dict):
            status, text = self.ask(what["path"], what.get("body"))
            return [f"$ {json.dumps(what)}", f"status {status}", *text.splitlines()]
        out = subprocess.run(
            [self.program, *what, "--control", "control.sock"], cwd=self.folder, stdin=subprocess.DEVNULL,
            capture_output=True, timeout=60,
        )
        text = out.stdout.decode()
        # The order of an answer's keys says nothing.
        lines = sorted(flat(json.loads(text))) if text.startswith("{") else text.splitlines()
        told = [f"$ {' '.join(what)}", f"exit {out.returncode}", *lines, *out.stderr.decode().splitlines()]
        if "--gpx" in what:
            told += (self.folder / "pattern.gpx").read_text().splitlines()
        return told

    def settle(self):
        """Waits until posts that were caused have come."""
        time.sleep(0.06)
        while time.monotonic() - self.posts.last < 0.05:
            time.sleep(0.02)

    def stop(self):
        self.child.terminate()
        try:
            self.child.wait(20)
        finally:
            self.child.kill()
            self.stderr.close()
            self.posts.shutdown()
            self.posts.server_close()

    def plain(self, text):
        """Without ports, which differ from run to run."""
        for name, port in [*self.ports.items(), ("posts", self.posts.server_port)]:
            text = text.replace(f"127.0.0.1:{port}", name)
        return text


def flat(value, path=""):
    """JSON as one line a leaf, in the answer's own order."""
    if isinstance(value, dict) and value:
        return [line for k, v in value.items() for line in flat(v, f"{path}.{k}")]
    if isinstance(value, list) and value:
        return [line for n, v in enumerate(value) for line in flat(v, f"{path}[{n}]")]
    return [f"{path} = {json.dumps(value, ensure_ascii=False)}"]


def stand(program: Path, folder: Path, shim: Path, night: Night) -> dict[str, list[str]]:
    """Stands a night: what was answered, and what was posted. Leaves logbook and recording in the folder."""
    daemon = Daemon(program, folder, shim)
    answers = []
    try:
        for seconds, lines, doings in night.steps():
            daemon.advance(seconds)
            daemon.poke()
            for feed, said in lines.items():
                if said:
                    daemon.say(feed, said)
            for what in doings:
                if what == ["status"]:
                    # It tells how many posts wait.
                    daemon.settle()
                told = daemon.do(what)
                answers += [f"at {daemon.now_s} s", *told] if told else []
            daemon.settle()
    finally:
        daemon.stop()
    posted = [f"{path} {body}" for path, body in daemon.posts.kept]
    # Those of several alerts may pass each other.
    return {"answers": [daemon.plain(a) for a in answers], "posts": sorted(posted)}
