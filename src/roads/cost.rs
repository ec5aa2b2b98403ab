//! What a drive costs: time first, then length.

/// Milliseconds and decimetres in one number, compared by time and then by length, added part by part.
///
/// Whole numbers, so that every machine finds the same. 49 days and 429,000 km fit; a sum beyond that is [`Cost::NEVER`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Cost(u64);

impl Cost {
    pub const ZERO: Self = Self(0);
    /// Cannot be driven.
    pub const NEVER: Self = Self(u64::MAX);

    pub const fn new(ms: u32, dm: u32) -> Self {
        Self(((ms as u64) << 32) | dm as u64)
    }

    /// Milliseconds of driving.
    pub const fn ms(self) -> u32 {
        (self.0 >> 32) as u32
    }

    /// Decimetres of road.
    #[expect(clippy::cast_possible_truncation, reason = "the lower half of 64 bits")]
    pub const fn dm(self) -> u32 {
        self.0 as u32
    }

    /// Whether it can be driven at all.
    pub fn is_drive(self) -> bool {
        self != Self::NEVER
    }

    #[inline]
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}
