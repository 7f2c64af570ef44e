"""Runs two builds of the program on the same inputs and compares everything that comes out.

    tests/same/run BEFORE AFTER [--quick] [--only 'nights/*'] [--keep-inputs DIR] [--before-inputs DIR]

A difference that is meant stands in `meant.md` beside this file. Texts that differ are kept in `target/same`.
Exit code 0: the same but for what is meant; 1: something differs that is not.
"""

import argparse
import fnmatch
import hashlib
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import aboard
import inputs

HERE = Path(__file__).parent
TREE = HERE.parent.parent
KEPT = TREE / "target/same"
PARTS = ["replays", "nights", "logbooks", "reviews", "lines", "messages", "live", "recorded"]
SCENARIOS = {
    "at-anchor": [],
    "every-kind": ["--config", inputs.PLAIN_BOAT],
    "night-passage": ["--config", inputs.WATCH_BOAT],
}
# The whole strait takes a minute and more of one core, most of it spent on a thousand ships' approaches.
STRAIT, CUT_STRAIT = "fixtures/busy-strait.toml", "made/busy-strait.toml"


class Side:
    """One of the two programs, its inputs and a folder to write in."""

    def __init__(self, name, program, made, work):
        self.name, self.program, self.inputs, self.work = name, program.resolve(), made, work / name
        self.work.mkdir()

    def run(self, *arguments):
        out = subprocess.run(
            [self.program, *map(str, arguments)], cwd=self.inputs, stdin=subprocess.DEVNULL, capture_output=True
        )
        text = (out.stdout + out.stderr).decode(errors="replace")
        return self.plain(f"{text}exit {out.returncode}\n")

    def plain(self, text):
        """Without what may differ: folders, the program's version, the room that the disk has."""
        text = text.replace(str(self.work), "WORK")
        # An event and whom it is for are one line.
        text = text.replace('\n["carry",', ' ["carry",')
        text = re.sub(r"middlewatch \d+\.\d+\.\d+", "middlewatch VERSION", text)
        return re.sub(r"\d+ (MB free|bytes copied)", r"N \1", text)


class Job:
    """Something to run on both sides; `make` gives texts by the names of their cases."""

    def __init__(self, name, make, weight=1, live=False):
        self.name, self.make, self.weight, self.live = name, make, weight, live


def jobs(quick, tree):
    """All that is run, the longest first."""
    orders = list(inputs.ORDERS.items())
    found = []

    def replay(part, name, weight, *arguments):
        case = f"{part}/{name}"
        make = lambda side: {case: side.run("replay", "--json", "--effects", *arguments)}
        found.append(Job(case, make, weight))

    scenarios = SCENARIOS.items() if not quick else [("every-kind", SCENARIOS["every-kind"])]
    for scenario, config in scenarios:
        for word, file in orders:
            replay("replays", f"{scenario} {word}", 3, "--orders", file, *config, f"fixtures/{scenario}.toml")
        replay("replays", f"{scenario} built-in", 3, f"fixtures/{scenario}.toml")
    for word, file in orders if not quick else []:
        replay("replays", f"part of busy-strait {word}", 40, "--orders", file, CUT_STRAIT)
    if not quick:
        replay("replays", "busy-strait windlestraw", 200, "--orders", inputs.ORDERS["windlestraw"], STRAIT)
    recorded = sorted(p.name for p in (tree / "fixtures/recorded").glob("*.nmea"))
    for file in recorded:
        for word, path in orders if not quick else orders[1:2]:
            weight = 20 if file == "instruments.nmea" else 1
            config = ["--start", "2026-03-01T00:00:00Z"] if word == "traffic" else []
            replay("replays", f"{file} {word}", weight, "--orders", path, *config, f"fixtures/recorded/{file}")
        name = f"fixtures/recorded/{file}"
        found.append(Job(f"lines/{file}", lambda side, name=name: {
            f"lines/{name[9:]}": side.run("listen", "--json", name), f"lines/{name[9:]} text": side.run("listen", name),
        }))
    for kind, count in (("night", inputs.NIGHTS), ("fall", inputs.FALLS)):
        for n in range(count if not quick else count // 5):
            boat = inputs.WATCH_BOAT if n % 2 else inputs.PLAIN_BOAT
            for word, path in orders if not quick else [orders[n % 4]]:
                name = f"{kind}-{n:02}"
                replay("nights", f"{name} {word}", 2, "--config", boat, "--orders", path, f"made/{name}.toml")
    kept = [*scenarios] if quick else [*scenarios, ("night-03", ["--config", inputs.WATCH_BOAT]),
                                       ("fall-05", ["--config", inputs.WATCH_BOAT])]
    for scenario, config in kept:
        file = f"fixtures/{scenario}.toml" if scenario in SCENARIOS else f"made/{scenario}.toml"
        make = lambda side, name=scenario, c=config, f=file: logbook(side, name, [*c, f])
        found.append(Job(f"logbooks,reviews/{scenario}", make, 8))
    for folder, verb in (("fixtures/orders", ["check", "--orders"]), ("fixtures/bad-scenarios", ["replay"])):
        files = sorted(f"{folder}/{p.name}" for p in (tree / folder).glob("*.toml"))
        for n in range(0, len(files), 40):
            some = files[n:n + 40]
            found.append(Job(f"messages/{folder[9:]} {n}", lambda side, v=verb, fs=some: messages(side, v, fs), 2))
    found.append(Job("messages/boats", lambda side: messages(side, ["check", "--config"], sorted(
        str(p.relative_to(side.inputs)) for p in side.inputs.glob("made/*boat*.toml")) + ["systemd/boat.toml"])))
    found.append(Job("messages/good", lambda side: messages(side, ["check", "--orders"], inputs.ORDERS.values())))
    found.append(Job("live/looks", lambda side: live(side, quick), live=True))
    found.append(Job("recorded/night", lambda side: recorded_night(side, quick), live=True))
    return sorted(found, key=lambda job: -job.weight)


def messages(side, verb, files):
    texts = {}
    for file in files:
        name = f"messages/{Path(file).parent.name} {Path(file).stem}"
        texts[name] = side.run(*verb, file)
        if verb[0] == "check":
            texts[name] += side.run(*verb, file, "--json")
    return texts


def logbook(side, name, arguments):
    """A replay that writes a logbook: what it prints, every table of the logbook, and every kind of review."""
    file = side.work / f"{name}.db"
    texts = {f"logbooks/{name} printed": side.run("replay", "--logbook", file, *arguments)}
    texts[f"logbooks/{name} dump"] = dump(file)
    return texts | reviews(side, name, file)


def reviews(side, name, file):
    asked = {
        "text": [], "json": ["--json"], "deck log": ["--deck-log"], "passages": ["--passages"],
        "passages json": ["--passages", "--json"], "last passage": ["--passage", "last"],
        "ship's time": ["--ship-time", "-3:30"], "until": ["--until", "2026-03-14T21:05:00Z"],
    }
    look = lambda *more: side.run("review", "--logbook", file, *more)
    texts = {f"reviews/{name} {word}": look(*more) for word, more in asked.items()}
    for form in ("html", "gpx", "geojson", "csv"):
        written = side.work / f"{name}.{form}"
        printed = look(f"--{form}", written)
        text = written.read_text() if written.exists() else "nothing written\n"
        if form in ("html", "geojson"):
            # One element a line, so that a difference is a short one.
            text = re.sub(r"(>|\},)(?=[<{])", r"\1\n", text)
        texts[f"reviews/{name} {form}"] = side.plain(text + printed)
    return texts


def dump(file, state=False):
    """Every row of every table and view; nulls are left out. States that outlast a restart are a text of their own."""
    with sqlite3.connect(f"file:{file}?mode=ro", uri=True) as base:
        names = base.execute("SELECT name FROM sqlite_schema WHERE type IN ('table', 'view') ORDER BY name").fetchall()
        feeds = dict(base.execute("SELECT id, name FROM feed_names"))
        lines = []
        for (table,) in names:
            if (table == "state_rows") != state:
                continue
            rows = base.execute(f'SELECT * FROM "{table}"')
            columns = [c[0] for c in rows.description]
            for row in rows:
                values = {c: v.hex() if isinstance(v, bytes) else v for c, v in zip(columns, row) if v is not None}
                if state:
                    lines += [f"{values['key']}{line}" for line in aboard.flat(as_json(values["json"]))]
                    continue
                # Feeds are numbered as their rows happen to be written.
                if table == "feed_names":
                    values.pop("id")
                elif "feed" in values:
                    values["feed"] = feeds.get(values["feed"], values["feed"])
                if "version" in values and table in ("run_rows", "runs"):
                    values["version"] = "VERSION"
                if table == "counters" and values["name"] == "logbook":
                    values["last"] = "at random"
                lines.append(f"{table} {json.dumps(values, ensure_ascii=False)}")
            if table == "feed_names":
                lines.sort()
    boot = Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    return "\n".join(lines).replace(boot, "BOOT") + "\n"


def as_json(text):
    try:
        return json.loads(text)
    except ValueError:
        return text.splitlines()


def stand(side, name, night):
    folder = side.work / name
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    return folder, aboard.stand(side.program, folder, side.work.parent / "clock.so", night)


def live(side, quick):
    """A daemon that is looked at all the time."""
    folder, told = stand(side, "live", aboard.Night(True, 240 if quick else 720))
    answers = side.plain("\n".join(told["answers"]) + "\n")
    return {"live/answers": answers, "live/state": dump(folder / "logbook.db", state=True)}


def recorded_night(side, quick):
    """A daemon that nobody looks at before the end: its logbook, its posts, its recording replayed."""
    folder, told = stand(side, "recorded", aboard.Night(False, 400 if quick else 720))
    base = folder / "logbook.db"
    texts = {
        "recorded/answers": side.plain("\n".join(told["answers"]) + "\n"),
        "recorded/posts": "\n".join(told["posts"]) + "\n",
        "recorded/logbook": side.plain(dump(base)),
    }
    files = sorted(folder.glob("sentences/*"))
    texts["recorded/replayed"] = side.run("replay", "--json", "--effects", "--config", folder / "boat.toml", *files)
    texts["recorded/replayed by others"] = side.run(
        "replay", "--json", "--effects", "--orders", inputs.ORDERS["passage"], *files)
    for case, text in reviews(side, "recorded", base).items():
        texts[case.replace("reviews/recorded", "recorded/review")] = text
    return texts


class Meant:
    """`meant.md`: under a heading that says why, `- CASES: \\`REGEX\\`` for lines that may differ, and
    `- cut CASES: \\`REGEX\\`` for what is taken out of both texts before they are compared."""

    def __init__(self, path):
        self.lines, self.cuts, self.used = [], [], {}
        why = "no reason is given"
        for number, line in enumerate(path.read_text().splitlines(), 1):
            if line.startswith("## "):
                why = line[3:]
            entry = re.fullmatch(r"- (cut )?([^`]+): `(.+)`", line)
            if entry:
                cut, cases, pattern = entry.groups()
                (self.cuts if cut else self.lines).append((cases, re.compile(pattern, re.M), why))
                self.used[why] = 0
            elif line.startswith("- "):
                raise SystemExit(f"{path}:{number}: neither `- CASES: \\`REGEX\\`` nor `- cut CASES: …`")

    def cut(self, case, text):
        for cases, pattern, why in self.cuts:
            if fnmatch.fnmatch(case, cases):
                text, times = pattern.subn("", text)
                self.used[why] += times
        return text

    def allows(self, case, line):
        for cases, pattern, why in self.lines:
            if fnmatch.fnmatch(case, cases) and pattern.search(line):
                self.used[why] += 1
                return True
        return False


class Comparison:
    def __init__(self, sides, meant, only, cache):
        self.sides, self.meant, self.only, self.cache = sides, meant, only, cache
        self.lock = threading.Lock()
        # By part: cases that are the same, cases that differ as meant, and others with their lines.
        self.same, self.as_meant, self.differ = {}, {}, {}

    def wanted(self, job):
        parts, name = job.name.split("/", 1)
        return self.only is None or any(fnmatch.fnmatch(f"{p}/{name}", self.only) for p in parts.split(","))

    def take(self, job):
        try:
            self.run(job)
        except Exception as e:  # One that fails must not hide what the others find.
            with self.lock:
                self.differ.setdefault(job.name.split("/")[0].split(",")[0], []).append((job.name, [f"> failed: {e!r}"]))

    def run(self, job):
        for attempt in range(3):
            texts = [None, job.make(self.sides[1])]
            known = self.cache.get(job.name)
            if known is None or known != digests(texts[1]):
                texts[0] = job.make(self.sides[0])
                if not job.live:
                    self.cache.put(job.name, digests(texts[0]))
            else:
                texts[0] = texts[1]
            found = {case: self.differing(case, *(t.get(case, "") for t in texts)) for case in texts[0] | texts[1]}
            # A loaded machine may upset a live daemon once.
            if not job.live or not any(found.values()):
                break
        with self.lock:
            for case, lines in found.items():
                self.judge(case, lines, *(t.get(case, "") for t in texts))

    def differing(self, case, before, after):
        if before == after:
            return []
        before, after = self.meant.cut(case, before), self.meant.cut(case, after)
        if before == after:
            return []
        with tempfile.TemporaryDirectory() as folder:
            names = [Path(folder) / n for n in ("before", "after")]
            for name, text in zip(names, (before, after)):
                name.write_text(text)
            out = subprocess.run(["diff", "--speed-large-files", *names], capture_output=True, text=True).stdout
        return [line for line in out.splitlines() if line[:2] in ("< ", "> ")]

    def judge(self, case, lines, before, after):
        part = case.split("/")[0]
        unmeant = [line for line in lines if not self.meant.allows(case, line[2:])]
        if not lines:
            self.same[part] = self.same.get(part, 0) + 1
        elif not unmeant:
            self.as_meant[part] = self.as_meant.get(part, 0) + 1
        if unmeant:
            self.differ.setdefault(part, []).append((case, unmeant))
            name = KEPT / case.replace(" ", "-").replace("'", "")
            name.parent.mkdir(parents=True, exist_ok=True)
            for end, text in (("before", before), ("after", after)):
                name.with_name(f"{name.name}.{end}").write_text(text)

    def report(self):
        for part in PARTS:
            same, meant = self.same.get(part, 0), self.as_meant.get(part, 0)
            differ = sorted(self.differ.get(part, []))
            if not same + meant + len(differ):
                continue
            words = [f"{same} the same"] + [f"{meant} differ as meant"] * (meant > 0)
            words += [f"{len(differ)} DIFFER"] * (len(differ) > 0)
            print(f"{part:10} {', '.join(words)}")
            for case, lines in differ[:5]:
                print(f"  {case}: {len(lines)} lines differ")
                print("\n".join(excerpt(lines)))
            if len(differ) > 5:
                print("  and " + ", ".join(case.split("/", 1)[1] for case, _ in differ[5:17]) + " …" * (len(differ) > 17))
        for why, times in self.meant.used.items():
            print(f"meant: {why} ({times})" if times else f"meant, but it did not come: {why}")
        if self.differ:
            print(f"the texts that differ are in {KEPT}")
        return 1 if self.differ else 0


def excerpt(lines, most=6, width=150):
    """The first lines that differ, each from shortly before the first letter that does."""
    old = [line[2:] for line in lines if line[0] == "<"]
    new = [line[2:] for line in lines if line[0] == ">"]
    shown = []
    for n in range(max(len(old), len(new))):
        pair = [side[n] if n < len(side) else None for side in (old, new)]
        both = os.path.commonprefix([p for p in pair if p is not None]) if None not in pair else ""
        start = max(len(both) - 50, 0)
        for sign, text in zip("<>", pair):
            if text is not None and len(shown) < most:
                shown.append(f"    {sign} {'…' if start else ''}{text[start:start + width]}")
    return shown


def digests(texts):
    return {case: hashlib.sha256(text.encode()).hexdigest() for case, text in texts.items()}


class Cache:
    """What the program of before gave for each job, as sums: it is asked again only where the other gives another, so
    that a stale sum costs time and hides nothing."""

    def __init__(self, sides, use):
        self.lock, self.path, self.known = threading.Lock(), None, {}
        if not use:
            return
        sum_ = hashlib.sha256(sides[0].program.read_bytes())
        files = sorted(p for p in sides[0].inputs.rglob("*") if p.is_file())
        for file in files:
            sum_.update(str(file.name).encode() + file.read_bytes())
        self.path = Path(tempfile.gettempdir()) / f"middlewatch-same-{sum_.hexdigest()[:16]}.json"
        if self.path.exists():
            self.known = json.loads(self.path.read_text())

    def get(self, job):
        return self.known.get(job)

    def put(self, job, sums):
        with self.lock:
            self.known[job] = sums

    def keep(self):
        if self.path:
            fresh = self.path.with_suffix(f".{os.getpid()}")
            fresh.write_text(json.dumps(self.known))
            fresh.replace(self.path)


def fill(folder):
    inputs.make(TREE, folder)
    strait = (folder / STRAIT).read_text()
    cut, times = re.subn(r'^duration = .*$', 'duration = "1 min"', strait, flags=re.M)
    assert times == 1, "the strait has another form"
    (folder / CUT_STRAIT).write_text(cut)


def main():
    arguments = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    arguments.add_argument("before", type=Path, nargs="?")
    arguments.add_argument("after", type=Path, nargs="?")
    arguments.add_argument("--quick", action="store_true", help="a part of it, in less than a minute")
    arguments.add_argument("--only", metavar="GLOB", help="only jobs of this name, as 'nights/night-0*' or 'live/*'")
    arguments.add_argument("--fresh", action="store_true", help="run BEFORE too where it is known what it gives")
    arguments.add_argument("--keep-inputs", type=Path, metavar="DIR", help="write the inputs there, and end")
    arguments.add_argument("--before-inputs", type=Path, metavar="DIR", help="feed BEFORE from there")
    given = arguments.parse_args()
    if given.keep_inputs:
        given.keep_inputs.mkdir(parents=True)
        fill(given.keep_inputs)
        return 0
    if not given.before or not given.after:
        arguments.error("name the programs BEFORE and AFTER")
    began = time.monotonic()
    shutil.rmtree(KEPT, ignore_errors=True)
    with tempfile.TemporaryDirectory(prefix="same-") as folder:
        work = Path(folder)
        (work / "inputs").mkdir()
        fill(work / "inputs")
        subprocess.run(["cc", "-shared", "-fPIC", "-O1", "-o", work / "clock.so", TREE / "tests/shim/clock.c"], check=True)
        made = [given.before_inputs.resolve() if given.before_inputs else work / "inputs", work / "inputs"]
        sides = [Side(n, p, m, work) for n, p, m in zip(("before", "after"), (given.before, given.after), made)]
        twins = sides[0].program.read_bytes() == sides[1].program.read_bytes()
        cache = Cache(sides, use=not given.fresh and not twins)
        comparison = Comparison(sides, Meant(HERE / "meant.md"), given.only, cache)
        todo = [job for job in jobs(given.quick, work / "inputs") if comparison.wanted(job)]
        with ThreadPoolExecutor(os.cpu_count()) as pool, ThreadPoolExecutor(2) as quay:
            runs = [(quay if job.live else pool).submit(comparison.take, job) for job in todo]
            for run in runs:
                run.result()
        cache.keep()
        code = comparison.report()
        print(f"{'DIFFERENT' if code else 'the same'}, in {time.monotonic() - began:.0f} s")
        return code


if __name__ == "__main__":
    sys.exit(main())
