//! Chance for made seas and boats.

use std::f64::consts::TAU;

/// Numbers without a pattern (SplitMix64, Steele and others 2014, from memory), the same for the same seed everywhere.
pub struct Dice(pub u64);

impl Dice {
    /// From 0 to below 1.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.uniform()
    }

    /// Of mean 0 and that standard deviation (Box and Muller).
    pub fn normal(&mut self, deviation: f64) -> f64 {
        let radius = (-2.0 * self.uniform().max(1e-12).ln()).sqrt();
        deviation * radius * (TAU * self.uniform()).cos()
    }
}
