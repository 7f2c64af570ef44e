//! Numbers by a seed, for made encounters here and made harbours in the tests of the whole.

/// SplitMix64: a small generator where each seed gives its own sequence (Steele, Lea and Flood 2014).
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15).wrapping_add(0x1234_5678))
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// In [from, to).
    pub fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn happens(&mut self, p: f64) -> bool {
        self.between(0.0, 1.0) < p
    }

    /// Normal with that standard deviation.
    pub fn normal(&mut self, sigma: f64) -> f64 {
        let (u, v) = (self.between(1e-12, 1.0), self.between(0.0, std::f64::consts::TAU));
        sigma * (-2.0 * u.ln()).sqrt() * v.cos()
    }
}
