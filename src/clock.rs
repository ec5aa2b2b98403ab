//! The one place that reads the wall clock, so that a test can say what time it is.

use time::OffsetDateTime;

/// The time now: the machine's, or a fixed one in tests and rehearsals.
#[derive(Clone, Copy, Debug, Default)]
pub enum Clock {
    /// The machine's clock.
    #[default]
    System,
    /// Always this instant.
    Fixed(OffsetDateTime),
}

impl Clock {
    /// The instant now, in UTC. Civil dates are made from it in the dealer's zone by the store.
    pub fn now(self) -> OffsetDateTime {
        match self {
            #[expect(clippy::disallowed_methods, reason = "this is the clock")]
            Self::System => OffsetDateTime::now_utc(),
            Self::Fixed(at) => at,
        }
    }
}
