"""What both programs are fed with: the fixtures and shipped orders as they are, and files made here.

Everything goes into one folder and is named by paths relative to it, so that messages hold the same paths. A folder
that was kept (`--keep-inputs`) feeds an older program with files of its own dialect (`--before-inputs`).
"""

import random
import shutil
from pathlib import Path

ORDERS = {
    "passage": "rules/orders/passage.toml",
    "windlestraw": "fixtures/windlestraw-orders.toml",
}
PLAIN_BOAT = "fixtures/windlestraw.toml"
WATCH_BOAT = "made/watch-boat.toml"
NIGHTS, FALLS = 60, 40
BEACON = 972990412

# The Windlestraw with everything that decides who is called and how loudly.
WATCH = """
[[gear]]
name = "liferaft"
due = "2026-04-10"
[[gear]]
name = "flares"
done = "2023-01-31"
every = "3 years"
note = "two were used"
[passage]
ends = "2026-03-20"
[watch]
skipper = "Ilse"
ship_time_h = -1
roster = [{ who = "Ilse", hours = "20:00 to 00:00" }, { who = "Tobias", hours = "00:00 to 04:00" }]
[watch.alarm]
dormant_period = "6 min"
reset_from = ["helm"]
"""


def make(tree: Path, folder: Path) -> None:
    """Fills a folder."""
    for part in ("fixtures", "rules/orders", "systemd"):
        shutil.copytree(tree / part, folder / part)
    made = folder / "made"
    made.mkdir()
    boat = (tree / PLAIN_BOAT).read_text().replace("windlestraw-orders", "../fixtures/windlestraw-orders")
    (folder / WATCH_BOAT).write_text(boat + WATCH)
    for n in range(NIGHTS):
        (made / f"night-{n:02}.toml").write_text(night(n))
    for n in range(FALLS):
        (made / f"fall-{n:02}.toml").write_text(fall(n))
    blocks = (Path(__file__).parent / "bad-boats.txt").read_text().split("--- ")[1:]
    for block in blocks:
        name, text = block.split("\n", 1)
        (made / f"bad-boat-{name.strip().replace(' ', '-')}.toml").write_text(text)


def start(dice: random.Random) -> str:
    """At any hour, so that watches change, hours of rest begin and days end."""
    return f"2026-03-{dice.randint(1, 28):02}T{dice.randint(0, 23):02}:{dice.randint(0, 59):02}:00Z"


def place(dice: random.Random) -> str:
    latitude = f"{dice.randint(0, 59):02}°{dice.uniform(0, 59.9):05.2f}′{dice.choice('NS')}"
    return f"{latitude} {dice.randint(0, 178):03}°{dice.uniform(0, 59.9):05.2f}′{dice.choice('EW')}"


def profile(table: str, key: str, points: list[tuple[int, float]]) -> str:
    return "".join(f'[[{table}]]\nat = "0:{at:02}"\n{key} = {value:.1f}\n' for at, value in points)


def sea(dice: random.Random) -> str:
    """Depth, wind, pressure: each may give cause for a call, or none."""
    deep, wind, glass = dice.uniform(4, 60), dice.uniform(4, 30), dice.uniform(985, 1030)
    text = profile("depth", "below_transducer_m", [(0, deep), (30, max(deep + dice.uniform(-30, 10), 1.5))])
    text += profile("pressure", "hpa", [(0, glass), (30, glass - dice.choice([0, 1, 5]))])
    text += profile("battery", "volts", [(0, 12.6), (30, dice.uniform(11.2, 12.6))])
    for at in (0, dice.randint(8, 24)):
        text += f'[[wind]]\nat = "0:{at:02}"\nfrom_deg = {dice.randint(0, 359)}\nspeed_kn = {wind:.0f}\n'
        wind = max(wind + dice.uniform(-5, 20), 0)
    return text


FEEDS = """[[feed]]
name = "gps"
talker = "GP"
gps_error_m = 4
sentences = {{ RMC = "1 s" }}
{gps}
[[feed]]
name = "instruments"
talker = "II"
sentences = {{ HDT = "1 s", VHW = "2 s", MWV = "2 s", DPT = "3 s", XDR = "20 s" }}
{instruments}
[[feed]]
name = "ais"
talker = "AI"
hears = {{ probability = {heard:.2f}, range_nm = {range} }}
sentences = {{ VDO = "5 s" }}
{ais}
"""


def own(dice: random.Random, title: str, seed: int) -> str:
    return f"""version = 1
title = "{title}"
start = "{start(dice)}"
duration = "32 min"
seed = {seed}
[own]
name = "WINDLESTRAW"
mmsi = "232990417"
position = "{place(dice)}"
course_deg = {dice.randint(0, 359)}
speed_kn = {dice.choice([0, 3.2, 5, 6.5, 8])}
yaw_deg = {dice.choice([0, 3, 6])}
[[own.leg]]
at = "0:{dice.randint(12, 20)}"
course_deg = {dice.randint(0, 359)}
speed_kn = {dice.choice([0.3, 4, 9])}
[[current]]
at = "0:00"
set_deg = {dice.randint(0, 359)}
drift_kn = {dice.uniform(0, 1.5):.1f}
"""


def acts(dice: random.Random, moments: list[str]) -> str:
    """What the crew does, some of it in vain."""
    words = [
        "acknowledge", "acknowledge close approach", "silence", "declare under sail", "declare under power",
        "declare hove to", "declare coastal", "declare ocean", "declare at anchor", "handover Ilse",
        "handover Tobias", "note all well, {braces} and \\\"quotes\\\"", "declare restricted visibility",
    ]
    return "".join(f'[[act]]\nat = "0:{at}"\ndo = "{dice.choice(words)}"\n' for at in moments)


def night(seed: int) -> str:
    """Seven ships about own vessel in half an hour, some of which turn, as does own vessel."""
    dice = random.Random(f"night {seed}")
    gap = f'outages = [{{ from = "0:1{dice.randint(0, 4)}", until = "0:1{dice.randint(5, 9)}" }}]'
    text = own(dice, f"Made-up night {seed}", seed) + sea(dice)
    text += FEEDS.format(
        gps=gap if seed % 7 == 3 else "", instruments=gap if seed % 5 == 2 else "",
        ais=gap if seed % 11 == 4 else "", heard=dice.uniform(0.6, 1), range=25,
    )
    for n in range(1, 8):
        kind = "A" if n < 6 else "B"
        text += f"""[[ship]]
mmsi = "53899{seed:03}{n}"
name = "SHIP {n}"
ship_type = {dice.choice([30, 36, 52, 70, 80])}
class = "{kind}"
course_deg = {dice.uniform(0, 359.9):.1f}
speed_kn = {dice.choice([0, dice.uniform(2.5, 12 if kind == "B" else 24)]):.1f}
place = {{ at = "0:{dice.randint(10, 30)}", bearing_deg = {dice.randint(0, 359)}, range_nm = {dice.uniform(0, 3):.2f} }}
"""
        if n % 3 == 0:
            text += f'[[ship.leg]]\nat = "0:{dice.randint(10, 24)}"\ncourse_deg = {dice.randint(0, 359)}\n'
    moments = sorted(f"{dice.randint(3, 31):02}:{dice.randint(0, 59):02}" for _ in range(5))
    return text + acts(dice, moments)


def fall(seed: int) -> str:
    """Somebody goes over the side after ten minutes: without a fix, without a receiver, by button and by beacon."""
    dice = random.Random(f"fall {seed}")
    text = own(dice, f"Made-up fall {seed}", 1000 + seed) + sea(dice)
    gps = dice.choice(["", "", 'no_fix = [{ from = "0:05" }]', 'no_fix = [{ from = "0:12", until = "0:20" }]'])
    ais = dice.choice(["", "", 'outages = [{ from = "0:10:40" }]', 'outages = [{ from = "0:09", until = "0:13" }]'])
    text += FEEDS.format(gps=gps, instruments="", ais=ais, heard=dice.uniform(0.7, 1), range=20)
    text += f"""[[beacon]]
mmsi = "{BEACON if seed % 4 else 972990499}"
name = "Tobias Fenn"
range_nm = {dice.choice([2, 5])}
{'test = [{ at = "0:04" }]' if seed % 3 == 0 else ''}
[beacon.overboard]
at = "0:10"
activation = "{dice.choice([5, 12, 30, 80000 if seed % 10 == 9 else 20])} s"
first_fix = "{dice.choice([45, 60, 130, 86400])} s"
"""
    if seed % 5 == 1:
        text += 'silent = [{ from = "0:15" }]\n'
    if seed % 6 == 5:
        text += '[[beacon]]\nmmsi = "972990411"\nname = "Ilse Marrow"\nrange_nm = 3\n[beacon.overboard]\nat = "0:13"\nfirst_fix = "50 s"\n'
    text += '[[act]]\nat = "0:10:02"\ndo = "overboard Tobias"\n' if seed % 2 else ""
    text += acts(dice, ["11:00", "14:30"])
    reason = dice.choice(["recovered", "false activation", "test", "handed over"])
    return text + f'[[act]]\nat = "0:25"\ndo = "stand-down {reason}"\n'
