//! The standard nights: scenarios made by seed, and what is due in them beside ships.

use crate::night::Draw;
use std::fmt::Write;
use terms::{METRES_PER_NM, Moment};

const START: &str = "2026-03-01T20:00:00Z";

/// A night's scenario, and what is due in it beside ships.
#[derive(Default)]
pub struct Made {
    pub text: String,
    pub due: Vec<Due>,
}

/// An order that must stand at some time from one moment to another.
pub struct Due {
    pub order: &'static str,
    pub from: Moment,
    pub until: Moment,
}

/// Own vessel under sail, her instruments, a barometer with the double wave of the day, a battery that serves the night.
fn own(d: &mut Draw, seed: u64, hours: i64, speed_kn: f64, hears: &str) -> String {
    let mut text = format!(
        "version = 1\ntitle = \"A standard night\"\nstart = \"{START}\"\nduration = \"{hours} h\"\nseed = {seed}\n\
         [own]\nname = \"WINDLESTRAW\"\nmmsi = \"232990417\"\nposition = \"{:.0}°{:.2}′N 02{:.0}°{:.2}′W\"\n\
         course_deg = {:.0}\nspeed_kn = {speed_kn}\nyaw_deg = 6\nyaw_period = \"9 s\"\nvariation_deg = -8\n\
         [instruments]\ngust_kn = 1.2\nsounder_range_m = 120\n\
         [[feed]]\nname = \"gps\"\ntalker = \"GP\"\ngps_error_m = 4\nsentences = {{ RMC = \"1 s\" }}\n\
         [[feed]]\nname = \"instruments\"\ntalker = \"II\"\n\
         sentences = {{ HDG = \"1 s\", VHW = \"2 s\", DPT = \"2 s\", MWV = \"1 s\", MDA = \"60 s\", XDR = \"60 s\" }}\n\
         [[feed]]\nname = \"ais\"\ntalker = \"AI\"\nhears = {{ {hears} }}\n",
        d.from(14.0, 40.0).trunc(),
        d.from(0.0, 59.9),
        d.from(0.0, 9.0).trunc(),
        d.from(0.0, 59.9),
        d.from(0.0, 360.0),
    );
    let (mean, full) = (d.from(1008.0, 1022.0), d.from(12.6, 12.8));
    for h in 0..=hours {
        let wave = 1.5 * (h as f64 / 12.0 * std::f64::consts::TAU).sin();
        let volts = full - 0.035 * h as f64;
        let _ = write!(
            text,
            "[[pressure]]\nat = \"{h}:00\"\nhpa = {:.2}\n[[battery]]\nat = \"{h}:00\"\nvolts = {volts:.2}\n",
            mean + wave
        );
    }
    text
}

fn depth(text: &mut String, m: f64) {
    let _ = write!(text, "[[depth]]\nat = \"0:00\"\nbelow_transducer_m = {m}\n");
}

fn wind(text: &mut String, at_min: f64, from_deg: f64, speed_kn: f64) {
    let (from_deg, at) = (terms::normal_deg(from_deg), clock(at_min));
    let _ = write!(text, "[[wind]]\nat = \"{at}\"\nfrom_deg = {from_deg:.1}\nspeed_kn = {speed_kn:.1}\n");
}

/// Wind that wanders by some knots and degrees from hour to hour.
fn wandering_wind(d: &mut Draw, text: &mut String, hours: i64, mean_kn: f64) {
    let mut from_deg = d.from(0.0, 360.0);
    for h in 0..=hours {
        from_deg += d.from(-10.0, 10.0);
        wind(text, h as f64 * 60.0, from_deg, mean_kn + d.from(-3.0, 3.0));
    }
}

/// Own vessel's course in a scenario.
fn course_deg(text: &str) -> f64 {
    let line = text.lines().find_map(|l| l.strip_prefix("course_deg = ")).unwrap();
    line.parse().unwrap()
}

/// `h:mm:ss` of minutes.
fn clock(min: f64) -> String {
    let s = (min * 60.0).round() as i64;
    format!("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
}

/// A ship that lies so far off, in that direction, at one minute.
fn ship(d: &mut Draw, n: usize, class: char, kn: (f64, f64), at_min: f64, nm: (f64, f64)) -> String {
    format!(
        "[[ship]]\nmmsi = \"538{n:06}\"\nname = \"SHIP {n}\"\nship_type = 70\nclass = \"{class}\"\n\
         course_deg = {:.1}\nspeed_kn = {:.1}\nplace = {{ at = \"{}\", bearing_deg = {:.0}, range_nm = {:.2} }}\n",
        d.from(0.0, 360.0),
        d.from(kn.0, kn.1),
        clock(at_min),
        d.from(0.0, 360.0),
        d.from(nm.0, nm.1),
    )
}

const HEARS: &str = "probability = 0.9, range_nm = 25";

pub fn quiet_ocean(d: &mut Draw, hours: i64) -> Made {
    let mut text = own(d, d.seed(), hours, 5.5, HEARS);
    depth(&mut text, 3000.0);
    wandering_wind(d, &mut text, hours, 13.0);
    // One ship all night, and her closest approach is no nearer than twelve miles.
    let (at, from) = (d.from(0.2, 0.8) * hours as f64 * 60.0, d.from(0.0, 360.0));
    let _ = write!(
        text,
        "[[ship]]\nmmsi = \"538000001\"\nclass = \"A\"\ncourse_deg = {:.0}\nspeed_kn = 14\n\
         place = {{ at = \"{}\", bearing_deg = {from:.0}, range_nm = {:.1} }}\n",
        terms::normal_deg(from + 90.0),
        clock(at),
        d.from(15.0, 20.0)
    );
    Made { text, due: Vec::new() }
}

pub fn trade_wind(d: &mut Draw, hours: i64) -> Made {
    let mut text = own(d, d.seed(), hours, 6.0, HEARS);
    depth(&mut text, 3000.0);
    let minutes = hours as f64 * 60.0;
    let (ships, squalls) = ((hours as usize / 2).max(1), (hours as usize / 4).max(1));
    let from_deg = d.from(50.0, 100.0);
    let mut made = Made::default();
    wind(&mut text, 0.0, from_deg, 19.0);
    for n in 0..squalls {
        let begins = minutes * (n as f64 + d.from(0.4, 0.6)) / squalls as f64;
        let (lasts, kn, veers) = (d.from(16.0, 22.0), d.from(33.0, 38.0), d.from(20.0, 40.0));
        wind(&mut text, begins, from_deg, 19.0);
        wind(&mut text, begins + 3.0, from_deg + veers, kn);
        wind(&mut text, begins + lasts, from_deg + veers, kn);
        wind(&mut text, begins + lasts + 5.0, from_deg, 18.0);
        // The mean of ten minutes reaches 28 kn seven minutes after the squall has come with all its weight, at the latest.
        let [from, until] = [begins, begins + 11.0].map(|min| Moment((min * 60_000.0) as i64));
        made.due.push(Due { order: "wind rises", from, until });
    }
    for n in 0..ships {
        let at = minutes * (n as f64 + d.from(0.3, 0.9)) / ships as f64;
        text += &ship(d, n, 'A', (11.0, 18.0), at, (0.5, 20.0));
    }
    Made { text, ..made }
}

pub fn busy_coast(d: &mut Draw, hours: i64) -> Made {
    let mut text = own(d, d.seed(), hours, 5.0, HEARS);
    depth(&mut text, 45.0);
    wandering_wind(d, &mut text, hours, 12.0);
    let minutes = hours as f64 * 60.0;
    // Ships and ferries, boats, and a harbour two miles off the track, full of vessels that lie still.
    for n in 0..60 {
        let (class, kn) = if n % 3 == 0 { ('B', (3.0, 9.0)) } else { ('A', (7.0, 19.0)) };
        let at = minutes * d.from(0.0, 1.0);
        text += &ship(d, n, class, kn, at, (0.3, 12.0));
    }
    let course_deg = course_deg(&text);
    for n in 60..116 {
        let class = if n % 3 == 0 { 'A' } else { 'B' };
        let place = format!(
            "bearing_deg = {:.1}, range_nm = {:.2}",
            terms::normal_deg(course_deg + d.from(80.0, 100.0)),
            d.from(2.0, 3.0)
        );
        let _ = write!(
            text,
            "[[ship]]\nmmsi = \"538{n:06}\"\nname = \"LIES {n}\"\nclass = \"{class}\"\nnav_status = 5\n\
             course_deg = 0\nspeed_kn = 0\nplace = {{ at = \"{}\", {place} }}\n",
            clock(minutes / 2.0)
        );
    }
    Made { text, due: Vec::new() }
}

pub fn anchorage(d: &mut Draw, hours: i64) -> Made {
    let mut text =
        own(d, d.seed(), hours, 0.0, HEARS).replace("yaw_period = \"9 s\"", "yaw_period = \"40 s\"");
    text = text.replace("yaw_deg = 6", "yaw_deg = 15");
    depth(&mut text, 6.0);
    // The wind turns through sixty degrees in the night, and she swings with it on 32 m of scope.
    let (begins, turns) = (d.from(0.0, 360.0), 60.0 / (hours as f64 * 2.0));
    let at = |n: i64| {
        let (sin, cos) = (begins + turns * n as f64).to_radians().sin_cos();
        [32.0 * sin, 32.0 * cos]
    };
    let drags = (d.from(0.0, 1.0) < 0.5).then(|| (hours * 2) / 2);
    let mut made = Made::default();
    let mut current = |min: f64, [east, north]: [f64; 2]| {
        let kn = east.hypot(north) / METRES_PER_NM * 3600.0;
        let set = terms::normal_deg(east.atan2(north).to_degrees());
        let _ =
            write!(text, "[[current]]\nat = \"{}\"\nset_deg = {set:.1}\ndrift_kn = {kn:.4}\n", clock(min));
    };
    for n in 0..hours * 2 {
        let ([east, north], [then_east, then_north]) = (at(n), at(n + 1));
        let moves = [(then_east - east) / 1800.0, (then_north - north) / 1800.0];
        let min = n as f64 * 30.0;
        current(min, moves);
        if drags == Some(n) {
            // She drags to leeward by 90 m in six minutes.
            let drag = [east, north].map(|v| v / 32.0 * 0.25);
            current(min + 9.9, moves);
            current(min + 10.0, drag);
            current(min + 16.0, drag);
            current(min + 16.1, moves);
            let [from, until] = [min + 10.0, min + 17.0].map(|min| Moment((min * 60_000.0) as i64));
            made.due.push(Due { order: "anchor drags", from, until });
        }
    }
    for n in 0..=hours * 2 {
        let (min, from_deg, speed_kn) =
            (n as f64 * 30.0, terms::normal_deg(begins + turns * n as f64 + 180.0), d.from(9.0, 15.0));
        wind(&mut text, min, from_deg, speed_kn);
        // Her bow lies to the wind, and so to the anchor.
        let _ = write!(text, "[[own.leg]]\nat = \"{}\"\ncourse_deg = {from_deg:.1}\n", clock(min));
    }
    for n in 0..16 {
        let class = if n % 6 == 0 { 'A' } else { 'B' };
        text += &ship(d, n, class, (0.0, 0.05), 0.0, (0.05, 0.5))
            .replace("ship_type", "nav_status = 1\nship_type");
    }
    // Comers and goers.
    for n in 16..16 + (hours as usize * 2 / 5).max(1) {
        let at = hours as f64 * 60.0 * d.from(0.1, 0.9);
        text += &ship(d, n, 'B', (2.5, 5.0), at, (0.15, 0.6));
    }
    Made { text, ..made }
}

pub fn thin_wire(d: &mut Draw, hours: i64) -> Made {
    // Each tenth report of a ship that keeps company eighteen miles off: one each ninety seconds.
    let mut text = own(d, d.seed(), hours, 6.0, "probability = 0.11, range_nm = 30");
    depth(&mut text, 3000.0);
    wandering_wind(d, &mut text, hours, 15.0);
    let course_deg = course_deg(&text);
    let _ = write!(
        text,
        "[[ship]]\nmmsi = \"538000001\"\nclass = \"A\"\ncourse_deg = {course_deg}\nspeed_kn = 6\n\
         place = {{ at = \"0:00\", bearing_deg = {:.0}, range_nm = 18 }}\n",
        d.from(0.0, 360.0)
    );
    Made { text, due: Vec::new() }
}
