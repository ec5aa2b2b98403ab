//! What the next test will probably show, from how this unit's water has lost inhibitor so far. For the load list and the
//! printed week only, and always called "about": the dose itself is worked out from the test on the day.
//!
//! Well-mixed dilution, `C(t) = C0 e^(-kt)` (the law behind [`super::dilution`]); k is the median over the unit's own
//! stretches between a test with its dose and the next test, else the usual loss.

use time::Date;

use crate::units::MgPerLitre;

/// One test, or the new water of a fill, and the level after the dose that followed it, if one did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    pub day: Date,
    pub tested: MgPerLitre,
    /// Level once the dose had mixed; the tested level when nothing was put in.
    pub left_at: MgPerLitre,
    /// The unit was filled anew: no loss leads to it.
    pub anew: bool,
}

/// Loss a day of a unit nobody knows yet: half of it gone in about two years (our own start value, no source).
pub const USUAL_LOSS: f64 = 0.001;

/// The level to expect on `day`. `steps` oldest first; `None` without any.
pub fn expected_level(steps: &[Step], day: Date) -> Option<MgPerLitre> {
    let last = steps.last()?;
    let days = days_between(last.day, day)?;
    let level = last.left_at.as_f64() * (-loss(steps) * days).exp();
    #[expect(clippy::cast_possible_truncation, reason = "finite, between 0 and the level it began with")]
    MgPerLitre::new(level.round() as i64).ok()
}

/// Median loss a day over the unit's own stretches; a rise counts as no loss.
fn loss(steps: &[Step]) -> f64 {
    let mut seen: Vec<f64> = steps.windows(2).filter(|w| !w[1].anew).filter_map(|w| stretch(w[0], w[1])).collect();
    seen.sort_by(f64::total_cmp);
    seen.get(seen.len() / 2).copied().unwrap_or(USUAL_LOSS)
}

/// Loss a day from one step to the next; `None` when it is too short to say anything (under three weeks).
fn stretch(from: Step, to: Step) -> Option<f64> {
    let days = days_between(from.day, to.day).filter(|d| *d >= 21.0)?;
    let (before, after) = (from.left_at.as_f64(), to.tested.as_f64().max(1.0));
    (before > 0.0).then(|| ((before / after).ln() / days).clamp(0.0, 0.05))
}

fn days_between(from: Date, to: Date) -> Option<f64> {
    let days = i32::try_from((to - from).whole_days()).ok()?;
    (days >= 0).then(|| f64::from(days))
}
