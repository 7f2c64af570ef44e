//! Noise that is the same on every run: SplitMix64 streams, one for each sender, drawn from the scenario's seed.

use terms::Moment;

/// A stream of random numbers by SplitMix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number
/// generators", OOPSLA 2014, figure 16 with the constants of its section 4: gamma and the two multipliers of
/// Stafford's mix 13).
#[derive(Debug, Clone)]
pub struct Stream {
    state: u64,
}

impl Stream {
    /// The stream that belongs to a name, so that one sender more does not change the noise of the others. The name
    /// goes in as its 64-bit FNV-1a hash (Fowler, Noll, Vo; RFC 9923).
    pub fn named(seed: u64, name: &str) -> Self {
        let hash = name
            .bytes()
            .fold(0xcbf2_9ce4_8422_2325_u64, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0000_0100_0000_01b3));
        let mut mixed = Self { state: seed };
        Self { state: mixed.number() ^ hash }
    }

    /// The next 64 bits.
    pub fn number(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.state ^ (self.state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in [0, 1), by the upper 53 bits.
    pub fn even(&mut self) -> f64 {
        (self.number() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Near enough normal, mean 0 and deviation 1: the sum of twelve even numbers less six. Never beyond ±6,
    /// which keeps every made measurement bounded.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

/// An error that wanders: each value leans on the last one, and forgets it with a time constant (a first-order
/// Gauss-Markov process, the usual simple model of satellite position error; common practice). It moves once a second,
/// whoever asks, so that two of the same name show the same error.
#[derive(Debug, Clone)]
pub struct Wander {
    stream: Stream,
    value: f64,
    /// Whole seconds since the start that it has moved on.
    second: i64,
    kept: f64,
    fresh: f64,
}

impl Wander {
    /// Wanders about 0 with this deviation.
    pub fn new(seed: u64, name: &str, deviation: f64, memory_s: f64) -> Self {
        let mut stream = Stream::named(seed, name);
        let value = deviation * stream.normal();
        let kept = (-1.0 / memory_s).exp();
        Self { stream, value, second: 0, kept, fresh: deviation * (1.0 - kept * kept).sqrt() }
    }

    /// The error at a moment no earlier than the last one asked for. Takes as many steps as seconds have passed: at
    /// most those of the longest scenario.
    pub fn at(&mut self, at: Moment) -> f64 {
        while self.second < at.0.div_euclid(1000) {
            self.value = self.kept * self.value + self.fresh * self.stream.normal();
            self.second += 1;
        }
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn splitmix64_gives_the_published_numbers() {
        // The first outputs for seed 1234567 as Rosetta Code lists them ("Pseudo-random numbers/Splitmix64").
        // From memory.
        let mut s = Stream { state: 1_234_567 };
        let first: Vec<u64> = (0..3).map(|_| s.number()).collect();
        assert_eq!(first, [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]);
    }

    #[test]
    fn deviations_are_as_asked() {
        let mut s = Stream::named(1, "a");
        let n = 20_000;
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..n {
            let x = s.normal();
            sum += x;
            squares += x * x;
        }
        // Four standard errors: 4/√n for the mean, 4·√(2/n) for the variance.
        assert!((sum / f64::from(n)).abs() < 0.03 && (squares / f64::from(n) - 1.0).abs() < 0.04);
        // Thirty seconds apart, with a memory of ten, the values are as good as independent.
        let mut w = Wander::new(1, "w", 3.0, 10.0);
        let far: f64 =
            (0..n).map(|i| w.at(Moment(i64::from(i) * 30_000)).powi(2)).sum::<f64>() / f64::from(n);
        assert!((far.sqrt() - 3.0).abs() < 0.1, "{far}");
    }

    #[test]
    fn two_that_are_asked_at_different_moments_tell_the_same_error() {
        let (mut often, mut seldom) = (Wander::new(1, "w", 3.0, 10.0), Wander::new(1, "w", 3.0, 10.0));
        for s in 0..100 {
            let value = often.at(Moment(s * 1000 + 300));
            assert!(s % 7 != 0 || value == seldom.at(Moment(s * 1000 + 500)));
        }
    }
}
