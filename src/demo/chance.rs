//! A seeded source of chance, so that the demo is the same on every run.

use uuid::Uuid;

/// `SplitMix64` (Steele, Lea and Flood 2014): small, even enough for invented people.
#[derive(Debug)]
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Even over 0 to 1.
    pub(crate) fn share(&mut self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "53 bits fit")]
        let bits = (self.next() >> 11) as f64;
        bits / 9_007_199_254_740_992.0
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + self.share() * (high - low)
    }

    /// Even over `0..n`.
    pub(crate) fn below(&mut self, n: usize) -> usize {
        let n = u64::try_from(n.max(1)).unwrap_or(1);
        usize::try_from(self.next() % n).unwrap_or(0)
    }

    pub(crate) fn days(&mut self, low: i64, high: i64) -> i64 {
        low + i64::try_from(self.below(usize::try_from(high - low + 1).unwrap_or(1))).unwrap_or(0)
    }

    pub(crate) fn happens(&mut self, share: f64) -> bool {
        self.share() < share
    }

    pub(crate) fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.below(from.len())]
    }

    /// Roughly normal round 0 with a spread of 1.
    pub(crate) fn spread(&mut self) -> f64 {
        (0..12).map(|_| self.share()).sum::<f64>() - 6.0
    }
}

/// An id that is the same on every run: the `n`-th of a kind.
pub(crate) fn id(kind: u64, n: u64) -> Uuid {
    let mut rest = [0_u8; 10];
    rest[..2].copy_from_slice(&u16::try_from(kind).unwrap_or(0).to_be_bytes());
    rest[2..].copy_from_slice(&n.to_be_bytes());
    uuid::Builder::from_unix_timestamp_millis(1_700_000_000_000, &rest).into_uuid()
}
