//! From positions to paper: Mercator, as charts are drawn, and a polar stereographic projection beyond 70 degrees.
//! Both are conformal: angles and, near a point, shapes are true.

use terms::{Circular, Plane, Position};

/// Eccentricity of WGS 84 (NIMA TR8350.2).
const E: f64 = 0.081_819_190_842_621_49;
/// Beyond this latitude a Mercator chart stretches too much.
const POLAR_DEG: f64 = 70.0;
/// Room around what is drawn, as a part of it.
const MARGIN: f64 = 0.08;

/// A chart's projection and scale.
#[derive(Debug, Clone)]
pub(super) struct Projection {
    central_deg: f64,
    /// +1 and −1 for the poles.
    pole: Option<f64>,
    left: f64,
    top: f64,
    scale: f64,
    /// The middle of the paper, as a position near it.
    middle: Position,
    /// Size of the paper.
    pub width: f64,
    /// Size of the paper.
    pub height: f64,
}

/// Isometric latitude on the ellipsoid, which both projections are made of.
fn isometric(latitude_deg: f64) -> f64 {
    let s = latitude_deg.clamp(-89.99, 89.99).to_radians().sin();
    s.atanh() - E * (E * s).atanh()
}

/// A difference of longitudes, the shorter way round.
fn wrapped(deg: f64) -> f64 {
    (deg + 180.0).rem_euclid(360.0) - 180.0
}

impl Projection {
    /// Lays out paper of a width that holds all points. Its height follows within the bounds, and it covers at least
    /// `least_nm` each way. `None` without points.
    pub fn fit(points: &[Position], width: f64, heights: (f64, f64), least_nm: f64) -> Option<Self> {
        let first = points.first()?;
        let mut mean = Circular::default();
        points.iter().for_each(|p| mean.add(p.longitude_deg(), 1.0));
        let greatest = points.iter().map(|p| p.latitude_deg().abs()).fold(0.0, f64::max);
        let mut p = Self {
            central_deg: mean.mean_deg().map_or(first.longitude_deg(), wrapped),
            pole: (greatest > POLAR_DEG).then_some(first.latitude_deg().signum()),
            left: 0.0,
            top: 0.0,
            scale: 1.0,
            middle: *first,
            width,
            height: heights.0,
        };
        let raw: Vec<_> = points.iter().map(|q| p.raw(*q)).collect();
        let range = |of: fn(&(f64, f64)) -> f64| {
            raw.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)))
        };
        let ((x0, x1), (y0, y1)) = (range(|r| r.0), range(|r| r.1));
        let centre = ((x0 + x1) / 2.0, (y0 + y1) / 2.0);
        let nearest = |a: &Position, b: &Position| {
            let off = |q: &Position| {
                let r = p.raw(*q);
                (r.0 - centre.0).hypot(r.1 - centre.1)
            };
            off(a).total_cmp(&off(b))
        };
        p.middle = points.iter().copied().min_by(nearest).unwrap_or(*first);
        // One mile, in the units of the projection, here.
        let north = Plane::at(p.middle).position(0.0, 1.0);
        let mile = {
            let (a, b) = (p.raw(p.middle), p.raw(north));
            (a.0 - b.0).hypot(a.1 - b.1)
        };
        let (w, h) = ((x1 - x0).max(least_nm * mile), (y1 - y0).max(least_nm * mile));
        p.height = (width * h / w).clamp(heights.0, heights.1);
        p.scale = (width * (1.0 - 2.0 * MARGIN) / w).min(p.height * (1.0 - 2.0 * MARGIN) / h);
        p.left = centre.0 - width / 2.0 / p.scale;
        p.top = centre.1 + p.height / 2.0 / p.scale;
        Some(p)
    }

    /// East and north in the units of the projection.
    fn raw(&self, p: Position) -> (f64, f64) {
        let along = wrapped(p.longitude_deg() - self.central_deg).to_radians();
        match self.pole {
            None => (along, isometric(p.latitude_deg())),
            Some(pole) => {
                let away = 2.0 * (-isometric(p.latitude_deg() * pole)).exp();
                (away * along.sin(), -pole * away * along.cos())
            }
        }
    }

    /// Where on the paper.
    pub fn xy(&self, p: Position) -> (f64, f64) {
        let (x, y) = self.raw(p);
        ((x - self.left) * self.scale, (self.top - y) * self.scale)
    }

    /// Whether that lies on the paper.
    pub fn holds(&self, (x, y): (f64, f64)) -> bool {
        (0.0..=self.width).contains(&x) && (0.0..=self.height).contains(&y)
    }

    /// Units of the paper in a nautical mile, in the middle of it.
    pub fn per_nm(&self) -> f64 {
        let (a, b) = (self.xy(self.middle), self.xy(Plane::at(self.middle).position(0.0, 1.0)));
        (a.0 - b.0).hypot(a.1 - b.1)
    }

    /// Where the middle is.
    pub fn middle(&self) -> Position {
        self.middle
    }

    /// Its name, for the description.
    pub fn name(&self) -> &'static str {
        if self.pole.is_some() { "polar stereographic" } else { "Mercator" }
    }

    /// Whether north is up all over the paper.
    pub fn is_mercator(&self) -> bool {
        self.pole.is_none()
    }

    /// The direction on the paper of a true direction at a position, in degrees clockwise from up.
    pub fn turned(&self, at: Position, true_deg: f64) -> f64 {
        match self.pole {
            None => true_deg,
            Some(pole) => true_deg - pole * wrapped(at.longitude_deg() - self.central_deg),
        }
    }

    /// How far the paper reaches from its middle, in degrees of latitude and of longitude, generously.
    pub fn reach_deg(&self) -> (f64, f64) {
        let nm = self.width.hypot(self.height) / 2.0 / self.per_nm().max(1e-9);
        let latitude = nm / 60.0 * 1.3;
        let cos = (self.middle.latitude_deg().abs() + latitude).min(89.0).to_radians().cos();
        (latitude.min(90.0), (latitude / cos).min(180.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn meridional_parts() {
        // Meridional parts of WGS 84 in Bowditch's table 6: 30° 1876.9, 50° 3456.8 (some editions by Clarke 1880 differ
        // in the first decimal). From memory; recomputed by the closed formula.
        for (lat, parts) in [(30.0, 1876.9), (50.0, 3456.8)] {
            let ours = isometric(lat).to_degrees() * 60.0;
            assert!((ours - parts).abs() < 0.6, "{lat}: {ours}");
        }
    }

    #[test]
    fn scale_holds_all_over_small_paper_everywhere() {
        for (lat, lon) in [(50.0, -6.5), (-34.0, 179.99), (0.0, 0.0), (78.0, 15.0), (-77.0, -170.0)] {
            let home = Position::new(lat, lon).unwrap();
            let points: Vec<_> = (0..8).map(|n| home.at(f64::from(n) * 45.0, 5.0)).collect();
            let p = Projection::fit(&points, 1000.0, (400.0, 1100.0), 1.0).unwrap();
            let mile = p.per_nm();
            for q in &points {
                let (x, y) = p.xy(*q);
                assert!(p.holds((x, y)), "{lat} {lon}: {x} {y}");
                let (hx, hy) = p.xy(home);
                let nm = (x - hx).hypot(y - hy) / mile;
                assert!((nm - 5.0).abs() < 0.05, "{lat} {lon}: {nm}");
                // Conformal: directions on the paper are true ones.
                let (_, bearing) = home.range_and_bearing(*q);
                let drawn = (x - hx).atan2(hy - y).to_degrees();
                let off = terms::turn_deg(drawn, p.turned(home, bearing));
                assert!(off.abs() < 0.6, "{lat} {lon}: {drawn} for {bearing}");
            }
        }
    }
}
