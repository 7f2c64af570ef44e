//! A made harbour: who lies and who moves in it, and the tracks of all as they really went, second by second.

use super::chance::Chance;
use terms::METRES_PER_NM;

/// Metres east and north of the harbour's entrance.
pub type Place = [f64; 2];

/// One second of a ship.
#[derive(Clone, Copy)]
pub struct Second {
    pub place: Place,
    /// Metres a second, as she is steered: the best that a report could show.
    pub steered: [f64; 2],
    /// Metres a second, as she moves at that instant.
    pub moves: [f64; 2],
    pub turns: bool,
}

impl Second {
    pub fn steered_kn(&self) -> f64 {
        knots(self.steered)
    }
}

pub fn knots(v: [f64; 2]) -> f64 {
    v[0].hypot(v[1]) * 3600.0 / METRES_PER_NM
}

pub struct Ship {
    pub name: String,
    pub mmsi: u32,
    pub class_b: bool,
    pub length_m: u16,
    /// Navigational status as her crew set it; many never do.
    pub status: u8,
    /// Whether she can be own vessel: she goes somewhere.
    pub goes: bool,
    pub track: Vec<Second>,
}

/// What a ship does next.
#[derive(Clone, Copy)]
enum Does {
    Lies(f64),
    Goes(Place, f64),
}
use Does::{Goes, Lies};

/// How she handles: turn in degrees a second, knots a second, degrees of yawing and its period.
#[derive(Clone, Copy)]
struct Handles(f64, f64, f64, f64);

const SMALL: Handles = Handles(8.0, 0.4, 4.0, 6.0);
const FERRY: Handles = Handles(2.0, 0.15, 0.6, 14.0);
const GREAT: Handles = Handles(0.6, 0.04, 0.4, 20.0);

fn sail(from: Place, does: &[Does], handles: Handles, seconds: usize, c: &mut Chance) -> Vec<Second> {
    let Handles(deg_s, kn_s, yaw_deg, yaw_s) = handles;
    let phase = c.between(0.0, std::f64::consts::TAU);
    let (mut place, mut kn, mut next, mut lain) = (from, 0.0_f64, 0, 0.0);
    let mut course = match does.iter().find_map(|d| if let Goes(to, _) = d { Some(*to) } else { None }) {
        Some(to) => (to[0] - from[0]).atan2(to[1] - from[1]).to_degrees(),
        None => 0.0,
    };
    (0..=seconds)
        .map(|t| {
            let (mut wanted_kn, mut turns) = (0.0, false);
            match does.get(next) {
                Some(Goes(to, fast)) => {
                    let (e, n) = (to[0] - place[0], to[1] - place[1]);
                    let off_m = e.hypot(n);
                    let stops = matches!(does.get(next + 1), Some(Lies(_)) | None);
                    wanted_kn = *fast;
                    if stops {
                        let left = (off_m - 5.0).max(0.0) * 3600.0 / METRES_PER_NM / 3600.0;
                        wanted_kn = wanted_kn.min((2.0 * kn_s * 0.7 * left * 3600.0).sqrt().max(0.6));
                    }
                    let turn = terms::turn_deg(course, e.atan2(n).to_degrees());
                    let this = turn.clamp(-deg_s, deg_s);
                    turns = this.abs() > 0.5 * deg_s.min(1.0) && kn > 0.5;
                    if kn > 0.3 || off_m > 5.0 {
                        course += this;
                    }
                    // The way on while she turns, so that she never circles her mark.
                    let reached = if stops { 6.0 } else { 25.0 + kn * 0.5144 / deg_s.to_radians() };
                    if off_m < reached {
                        next += 1;
                    }
                }
                Some(Lies(s)) => {
                    lain += 1.0;
                    if lain > *s {
                        (next, lain) = (next + 1, 0.0);
                    }
                }
                None => {}
            }
            kn += (wanted_kn - kn).clamp(-2.0 * kn_s, kn_s);
            if wanted_kn == 0.0 && kn < 0.6 {
                kn = 0.0;
            }
            let mps = kn * METRES_PER_NM / 3600.0;
            let of = |deg: f64| [mps * deg.to_radians().sin(), mps * deg.to_radians().cos()];
            let wave = (std::f64::consts::TAU * t as f64 / yaw_s + phase).sin();
            let second = Second { place, steered: of(course), moves: of(course + yaw_deg * wave), turns };
            place = [place[0] + second.moves[0], place[1] + second.moves[1]];
            second
        })
        .collect()
}

/// She lies still: made fast, or swinging to her anchor within this many metres.
fn lies(at: Place, swings_m: f64, seconds: usize, c: &mut Chance) -> Vec<Second> {
    let (phase, period) = (c.between(0.0, std::f64::consts::TAU), c.between(500.0, 900.0));
    let place = |t: f64| {
        let turn = 0.6 * (std::f64::consts::TAU * t / period + phase).sin();
        [at[0] + swings_m * turn.sin(), at[1] + swings_m * turn.cos()]
    };
    (0..=seconds)
        .map(|t| {
            let (now, then) = (place(t as f64), place(t as f64 + 1.0));
            let moves = [then[0] - now[0], then[1] - now[1]];
            Second { place: now, steered: [0.0; 2], moves, turns: false }
        })
        .collect()
}

struct Fleet {
    ships: Vec<Ship>,
    seconds: usize,
    c: Chance,
}

impl Fleet {
    fn add(&mut self, kind: &str, class_b: bool, length_m: u16, status: u8, track: Vec<Second>) {
        let number = self.ships.len() as u32 + 1;
        let goes = track.iter().any(|s| s.steered_kn() > 1.0);
        self.ships.push(Ship {
            name: format!("{kind} {number:03}"),
            mmsi: 232_000_000 + number,
            class_b,
            length_m,
            status,
            goes,
            track,
        });
    }

    fn goes(&mut self, kind: &str, class_b: bool, from: Place, handles: Handles, does: &[Does]) {
        let track = sail(from, does, handles, self.seconds, &mut self.c);
        let length = match handles.1 {
            kn_s if kn_s > 0.3 => 11,
            kn_s if kn_s > 0.1 => 60,
            _ => 150,
        };
        // A crew that forgets leaves the status of the berth.
        let status = if self.c.happens(0.15) { 5 } else { 0 };
        self.add(kind, class_b, length, status, track);
    }
}

/// How many of each: the whole harbour, or a smaller one.
#[derive(Clone, Copy)]
pub struct Size {
    pub moored: usize,
    pub anchored: usize,
    pub racers: usize,
    pub yachts: usize,
}

/// The harbour of a seed.
pub fn harbour(seed: u64, seconds: usize, size: Size) -> Vec<Ship> {
    let mut f = Fleet { ships: Vec::new(), seconds, c: Chance::new(seed) };
    // A marina west of the entrance, quays east of it, an anchorage outside.
    for n in 0..size.moored {
        let quay = n % 5 == 0;
        let at = if quay {
            [300.0 + 40.0 * n as f64 / 5.0, 120.0]
        } else {
            [-1100.0 + 14.0 * (n % 40) as f64, 200.0 + 45.0 * (n / 40) as f64]
        };
        let track = lies(at, 0.0, seconds, &mut f.c);
        let status = if f.c.happens(0.4) { 0 } else { 5 };
        f.add("MOORED", !quay && n % 7 != 0, if quay { 90 } else { 12 }, status, track);
    }
    for _ in 0..size.anchored {
        let at = [1400.0 + f.c.between(-700.0, 700.0), -2600.0 + f.c.between(-700.0, 700.0)];
        let track = lies(at, 40.0, seconds, &mut f.c);
        let class_b = f.c.happens(0.5);
        f.add("ANCHORED", class_b, if class_b { 13 } else { 110 }, 1, track);
    }
    // Two ferries cross the fairway, from rest to rest.
    let (west, east) = ([-900.0, -1500.0], [900.0, -1700.0]);
    for (a, b, waits) in [(west, east, 60.0), (east, west, 200.0)] {
        let trip = [Lies(waits), Goes(b, 14.0), Lies(240.0), Goes(a, 14.0)];
        f.goes("FERRY", false, a, FERRY, &trip.repeat(4));
    }
    // Ships along the fairway, one with her tug, and the pilots who meet them at sea.
    let inward =
        [Goes([120.0, -4500.0], 11.0), Goes([100.0, -1500.0], 9.0), Goes([200.0, -100.0], 6.0), Lies(1e5)];
    f.goes("CARGO", false, [400.0, -11_000.0], GREAT, &inward);
    let outward = [
        Lies(300.0),
        Goes([-120.0, -1500.0], 8.0),
        Goes([-150.0, -5000.0], 11.0),
        Goes([-600.0, -14_000.0], 13.0),
    ];
    f.goes("CARGO", false, [-100.0, 50.0], GREAT, &outward);
    let towed = [
        Lies(320.0),
        Goes([-290.0, -1500.0], 8.0),
        Goes([-320.0, -3200.0], 9.5),
        Goes([-900.0, -1800.0], 9.0),
        Goes([-200.0, 0.0], 9.0),
    ];
    f.goes("TUG", false, [-250.0, 40.0], FERRY, &towed);
    let far = [Goes([-6000.0, -6500.0], 14.0), Goes([9000.0, -7500.0], 14.0)];
    f.goes("TANKER", false, [-9000.0, -7200.0], GREAT, &far);
    for (waits, berth, meets) in
        [(30.0, [-300.0, 0.0], [350.0, -7000.0]), (700.0, [-380.0, 10.0], [-500.0, -8000.0])]
    {
        let trip = [
            Lies(waits),
            Goes([0.0, -600.0], 8.0),
            Goes(meets, 21.0),
            Lies(70.0),
            Goes([50.0, -700.0], 20.0),
            Goes(berth, 6.0),
            Lies(1e5),
        ];
        f.goes("PILOT", false, berth, FERRY, &trip);
    }
    f.goes(
        "LAUNCH",
        true,
        [600.0, 0.0],
        SMALL,
        &[
            Lies(400.0),
            Goes([300.0, -1000.0], 24.0),
            Goes([2500.0, -4000.0], 26.0),
            Lies(60.0),
            Goes([200.0, -900.0], 25.0),
            Goes([-700.0, 200.0], 6.0),
        ],
    );
    // A fleet races round three marks, each boat on tacks of her own.
    for n in 0..size.racers {
        let start = [-1900.0 + 18.0 * n as f64, -5600.0 - 12.0 * (n % 4) as f64];
        let marks = [[-1500.0, -4300.0], [-3200.0, -5400.0], [-1700.0, -6700.0]];
        let mut does = vec![Lies(f.c.between(40.0, 70.0))];
        let (kn, mut at) = (f.c.between(4.4, 5.8), start);
        for lap in 0..9 {
            let mark: Place = marks[lap % 3];
            let tacks = if lap % 3 == 0 { 5 } else { 1 };
            for k in 1..=tacks {
                let part = f64::from(k) / f64::from(tacks);
                let side =
                    if k == tacks { 0.0 } else { 260.0 * f64::from(k % 2 * 2 - 1) * f.c.between(0.6, 1.4) };
                let way = [mark[0] - at[0], mark[1] - at[1]];
                let long = way[0].hypot(way[1]);
                let to = [
                    at[0] + part * way[0] + side * way[1] / long + f.c.between(-20.0, 20.0),
                    at[1] + part * way[1] - side * way[0] / long + f.c.between(-20.0, 20.0),
                ];
                does.push(Goes(to, kn * f.c.between(0.93, 1.07)));
            }
            at = mark;
        }
        f.goes("RACER", true, start, SMALL, &does);
    }
    // Yachts come and go; of each pair the second comes up slowly on the first.
    for n in 0..size.yachts {
        let (pair, second) = (n / 2, n % 2 == 1);
        let side = 120.0 * pair as f64 - 250.0;
        let kn = f.c.between(4.0, 5.2) + if second { f.c.between(0.7, 1.6) } else { 0.0 };
        let aft = if second { 500.0 } else { 0.0 };
        let sea = [side * 4.0, -9000.0];
        if pair % 2 == 0 {
            let does = [Lies(f.c.between(60.0, 500.0)), Goes([side, -700.0], kn), Goes(sea, kn)];
            f.goes("YACHT", true, [-800.0, 100.0 + aft / 10.0], SMALL, &does);
        } else {
            let from = [side * 4.0 + aft / 10.0, -7000.0 - aft];
            let does = [Goes([side, -900.0], kn), Goes([-700.0, 150.0], 3.0), Lies(1e5)];
            f.goes("YACHT", true, from, SMALL, &does);
        }
    }
    // Those who start from rest in the middle of others: off their anchors, and off a mooring in the fairway.
    for (waits, from, to) in [
        (600.0, [1300.0, -2500.0], [0.0, -5500.0]),
        (900.0, [1700.0, -2900.0], [100.0, -400.0]),
        (750.0, [-60.0, -2500.0], [60.0, -9000.0]),
    ] {
        let kn = f.c.between(4.5, 6.5);
        f.goes("STARTER", waits > 700.0, from, SMALL, &[Lies(waits), Goes(to, kn)]);
    }
    f.goes(
        "TRAWLER",
        false,
        [3000.0, -6000.0],
        FERRY,
        &[Goes([-3500.0, -5000.0], 3.2), Goes([3000.0, -6400.0], 3.2)],
    );
    f.ships
}
