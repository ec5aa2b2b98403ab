//! A small seeded generator of random numbers: 64-bit state, a mixed counter.
//! Written out so that a plan can be worked again from its seed, whatever library changes.

/// One of 2^64 numbers, far from that of `x` + 1.
pub(super) fn mixed(x: u64) -> u64 {
    let z = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[derive(Clone, Debug)]
pub(super) struct Random(u64);

const STEP: u64 = 0x9E37_79B9_7F4A_7C15;

impl Random {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(STEP) ^ 0xD1B5_4A32_D192_ED03)
    }

    pub(super) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(STEP);
        mixed(self.0)
    }

    /// A number below `n`; 0 when `n` is 0. `n` must fit in 32 bits.
    pub(super) fn below(&mut self, n: usize) -> usize {
        (((self.next() >> 32) * n as u64) >> 32) as usize
    }

    /// From 0 up to, not including, 1.
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit exactly")]
    pub(super) fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// True once in `n`.
    pub(super) fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }

    /// A whole number from 1 to `most`, `most` rounded down, at least 1.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small and positive")]
    pub(super) fn up_to(&mut self, most: f64) -> usize {
        (self.share() * most.max(0.0) + 1.0) as usize
    }
}
