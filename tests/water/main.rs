//! The water room against published figures and its own promises. Each check names its source and tolerance;
//! "computed" means worked out by hand or in a reference library from exact constants.
#![expect(clippy::unwrap_used)]

mod antifreezing;
mod carbonate;
mod dilution;
mod dosing;
mod example;
mod fill;
mod forecast_promises;
mod forecasting;
mod fuels;
mod index;
mod oxygen;
#[path = "../support/profiles.rs"]
mod profiles;
mod programmes;
mod promises;
mod quantities;
mod reference;
mod signature;
mod softening;
mod volumes;
mod wild;

/// Fails when `found` is more than `tolerance` away from `expected`.
#[track_caller]
pub(crate) fn near(found: f64, expected: f64, tolerance: f64) {
    let off = (found - expected).abs();
    println!("off by {off:.6} of {tolerance}");
    assert!(off <= tolerance, "{found} is not within {tolerance} of {expected}");
}

/// So many random cases, leaving no file behind.
pub(crate) fn cases(cases: u32) -> proptest::test_runner::Config {
    proptest::test_runner::Config { cases, failure_persistence: None, ..Default::default() }
}
