//! The truth in hindsight: who really came how close to whom, and what of that could be known when.

use super::traffic::{Second, knots};
use terms::METRES_PER_NM;

/// The limits of the shipped order for coastal waters.
pub const CPA_NM: f64 = 0.5;
pub const TCPA_S: f64 = 12.0 * 60.0;
/// Who keeps beside us within this has no closest approach that anybody could tell.
const BESIDE_KN: f64 = 0.7;
/// Who is slower than this does not go anywhere.
const LIES_KN: f64 = 0.5;

/// Two ships at one second, as both are steered.
#[derive(Clone, Copy)]
pub struct Pair {
    pub range_nm: f64,
    pub cpa_nm: f64,
    /// Zero where they keep beside one another.
    pub tcpa_s: f64,
    pub relative_kn: f64,
    /// The other one goes somewhere.
    pub goes: bool,
}

impl Pair {
    fn of(own: &Second, other: &Second) -> Self {
        let r = [0, 1].map(|n| other.place[n] - own.place[n]);
        let v = [0, 1].map(|n| other.steered[n] - own.steered[n]);
        let (squared, range_m) = (v[0] * v[0] + v[1] * v[1], r[0].hypot(r[1]));
        let tcpa_s = if squared < 1e-4 { 0.0 } else { -(r[0] * v[0] + r[1] * v[1]) / squared };
        let cpa_m = (r[0] + v[0] * tcpa_s).hypot(r[1] + v[1] * tcpa_s);
        Self {
            range_nm: range_m / METRES_PER_NM,
            cpa_nm: cpa_m / METRES_PER_NM,
            tcpa_s,
            relative_kn: knots(v),
            goes: other.steered_kn() >= LIES_KN,
        }
    }

    fn is_due(&self) -> bool {
        let soon = self.tcpa_s > 0.0 && self.tcpa_s <= 0.95 * TCPA_S;
        self.goes && self.relative_kn >= BESIDE_KN && self.cpa_nm <= 0.8 * CPA_NM && soon
    }

    /// With what a call may be early or wide by.
    fn is_near_due(&self) -> bool {
        self.cpa_nm <= 1.3 * CPA_NM && (-15.0..=1.1 * TCPA_S + 180.0).contains(&self.tcpa_s)
    }

    fn comes_up(&self) -> bool {
        self.range_nm <= 1.2 && self.cpa_nm <= 1.3 * CPA_NM && self.tcpa_s > 0.0 && self.relative_kn >= 0.4
    }

    fn opens(&self) -> bool {
        self.tcpa_s < 0.0 && self.relative_kn >= BESIDE_KN
    }
}

/// Own vessel and one other, all the time, with the moments at which the other's reports came aboard.
pub struct Truth<'t> {
    own: &'t [Second],
    other: &'t [Second],
    pairs: Vec<Pair>,
    reports: Vec<f64>,
}

/// An encounter that could be known: by truth due for a minute and a half and more, and a report of it came.
#[derive(Clone, Copy)]
pub struct Encounter {
    /// When it became due, when the first report after that came, and when it ended.
    pub due_s: f64,
    pub known_s: f64,
    pub until_s: f64,
}

impl<'t> Truth<'t> {
    pub fn of(own: &'t [Second], other: &'t [Second], reports: Vec<f64>) -> Self {
        Self { own, other, pairs: own.iter().zip(other).map(|(a, b)| Pair::of(a, b)).collect(), reports }
    }

    pub fn at(&self, s: f64) -> &Pair {
        &self.pairs[(s.max(0.0) as usize).min(self.pairs.len() - 1)]
    }

    fn span(&self, from_s: f64, to_s: f64) -> &[Pair] {
        let at = |s: f64| (s.max(0.0) as usize).min(self.pairs.len() - 1);
        &self.pairs[at(from_s)..=at(to_s)]
    }

    pub fn last_report(&self, s: f64) -> Option<f64> {
        self.reports.iter().copied().take_while(|r| *r <= s).last()
    }

    /// The best that could be known at a second: own vessel as she moves then, the other as she last reported.
    fn known(&self, t: usize) -> Pair {
        let r = self.last_report(t as f64).unwrap_or(0.0) as usize;
        let mut other = self.other[r.min(t)];
        let s = t.saturating_sub(r) as f64;
        other.place = [0, 1].map(|n| other.place[n] + s * other.steered[n]);
        Pair::of(&self.own[t], &other)
    }

    pub fn encounters(&self) -> Vec<Encounter> {
        let mut found = Vec::new();
        let mut since = None;
        for t in 0..=self.pairs.len() {
            let due = self.pairs.get(t).is_some_and(Pair::is_due);
            match (due, since) {
                (true, None) => since = Some(t as f64),
                (false, Some(due_s)) => {
                    since = None;
                    let until_s = t as f64;
                    let known =
                        self.reports.iter().copied().enumerate().find(|(n, r)| *r >= due_s && *n >= 2);
                    if let Some((_, known_s)) = known.filter(|(_, r)| until_s - *r >= 90.0) {
                        found.push(Encounter { due_s, known_s, until_s });
                    }
                }
                _ => {}
            }
        }
        found
    }

    /// A call at that second was for nobody: neither did she really come near, nor did she head so that she would have.
    ///
    /// `slowly`: by the order for one who comes up slowly, which calls by range.
    pub fn is_for_nobody(&self, s: f64, slowly: bool) -> bool {
        let known = self.last_report(s).unwrap_or(s) - 30.0;
        let heads = |p: &Pair| p.is_near_due() || slowly && p.comes_up();
        let seconds = (s - 30.0).max(0.0) as usize..=(s as usize).min(self.pairs.len() - 1);
        let headed = self.span(known.min(s - 60.0), s).iter().any(heads)
            || seconds.map(|t| self.known(t)).any(|p| heads(&p));
        let came = self.span(s - 5.0, s + 900.0).iter().any(|p| p.range_nm <= 1.3 * CPA_NM);
        !headed && !came
    }

    /// She was past when she was called: when she last reported she drew away, and by more than receivers err (55 m); and
    /// she came no nearer again.
    pub fn is_past(&self, s: f64) -> bool {
        let known = self.last_report(s).unwrap_or(s);
        let nearest =
            self.span(known - 300.0, known).iter().map(|p| p.range_nm).fold(f64::INFINITY, f64::min);
        let drew_away = self.at(known).range_nm >= nearest + 0.03;
        let opened = [known, s].into_iter().all(|t| self.at(t).opens());
        let now = self.at(s).range_nm;
        opened && drew_away && self.span(s, s + 300.0).iter().all(|p| p.range_nm >= now - 0.01)
    }

    /// Between two calls something changed: she went clear or past meanwhile, or was near by and lay still.
    pub fn changed(&self, from_s: f64, to_s: f64) -> bool {
        let lay = !self.at(from_s).goes && self.at(to_s).goes;
        lay || self.span(from_s, to_s).iter().any(|p| p.cpa_nm > 1.4 * CPA_NM || p.opens())
    }
}
