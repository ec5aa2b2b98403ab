//! What two tests look like together: checks C4 and C5, K1, and each pattern.

use embertide::water::Basis;
use embertide::water::signature::{Bounds, LooksLike, Signatures, TwoTests, signatures};

use crate::example::ph;
use crate::near;

fn read(tests: TwoTests) -> Signatures {
    signatures(&tests, &Bounds::default()).unwrap()
}

fn looks(tests: TwoTests) -> Vec<LooksLike> {
    read(tests).found.into_iter().map(|found| found.looks_like).collect()
}

fn nitrite(before: f64, after: f64, tracer: f64) -> TwoTests {
    TwoTests { tracer_left: Some(tracer), ..TwoTests::of_nitrite(before, after) }
}

/// A published case: 2,000 to 1,100 with the tracer unchanged and no make-up: no dilution at all, not a leak; exact.
#[test]
fn c4_not_a_leak() {
    let found = read(TwoTests { nothing_added: true, ..nitrite(2_000.0, 1_100.0, 1.0) });
    near(found.split.unwrap().not_dilution, 1.0, 1e-12);
    near(found.split.unwrap().expected, 2_000.0, 1e-9);
    assert!(found.not_a_leak);
    assert_eq!(found.found[0].looks_like, LooksLike::LostAnotherWay);
    assert!(found.found[0].evidence.iter().any(|words| words.contains("55 % left")), "{:?}", found.found);
    assert_eq!(looks(TwoTests { nothing_added: true, ..TwoTests::of_nitrite(2_000.0, 1_100.0) }), [LooksLike::LostAnotherWay]);
}

/// Nitrite 1,000 to 600, molybdate 100 to 90: dilution leaves 900, 300 are missing beyond it, 79.4 % of the logarithmic loss
/// is not dilution (computed, 0.1 %).
#[test]
fn c5_part_dilution() {
    let found = read(nitrite(1_000.0, 600.0, 0.9));
    let split = found.split.unwrap();
    near(split.expected, 900.0, 1e-9);
    near(split.excess, 300.0, 1e-9);
    near(100.0 * split.not_dilution, 79.4, 0.1);
    assert!(!found.not_a_leak);
    let looks: Vec<_> = found.found.iter().map(|found| found.looks_like).collect();
    assert_eq!(looks, [LooksLike::Dilution, LooksLike::LostAnotherWay]);
}

/// 1,000 mg/L as NO2 is 304.5 mg/L as N, 304 times the drinking-water limit of 1 mg/L as N (computed; 1).
#[test]
fn k1_treated_water_against_drinking_water() {
    near(1_000.0 * Basis::Nitrite.ratio_to(Basis::NitriteNitrogen).unwrap().factor(), 304.5, 1.0);
}

/// Each pattern by its own evidence (common practice, no source).
#[test]
fn each_pattern_is_seen() {
    assert_eq!(looks(nitrite(1_000.0, 700.0, 0.7)), [LooksLike::Dilution]);
    let nitrate = TwoTests { nitrate: Some((5.0, 200.0)), ..nitrite(1_000.0, 700.0, 1.0) };
    assert_eq!(looks(nitrate), [LooksLike::OxidationOrNitrifyingBacteria]);
    let ammonium = TwoTests { ammonium: Some(12.0), ..nitrite(1_000.0, 700.0, 1.0) };
    assert_eq!(looks(ammonium), [LooksLike::NitriteReducingBacteria]);
    let acid = TwoTests { ph: Some((ph(900), ph(760))), iron: Some((0.2, 3.0)), ..nitrite(1_000.0, 990.0, 1.0) };
    assert_eq!(looks(acid), [LooksLike::Acid]);
    assert_eq!(looks(nitrite(1_000.0, 1_300.0, 1.3)), [LooksLike::VapourOrOverdose]);
    let black = TwoTests { iron: Some((0.2, 2.0)), black: true, ..nitrite(1_000.0, 1_000.0, 1.0) };
    assert_eq!(looks(black), [LooksLike::UnderDeposits]);
}

/// No more is said than the figures carry.
#[test]
fn nothing_beyond_the_figures() {
    assert_eq!(looks(nitrite(1_000.0, 980.0, 0.98)), []);
    let alone = read(TwoTests::of_nitrite(1_000.0, 600.0));
    assert!(alone.found.is_empty() && alone.split.is_none() && !alone.not_a_leak);
    assert_eq!(alone.missing.len(), 5);
    // All dilution: ammonium beside it does not make it bacteria.
    let diluted = TwoTests { ammonium: Some(12.0), ..nitrite(1_000.0, 700.0, 0.7) };
    assert_eq!(looks(diluted), [LooksLike::Dilution]);
    for found in read(nitrite(1_000.0, 600.0, 0.9)).found {
        assert!(found.looks_like.check().ends_with('.') && !found.looks_like.words().is_empty() && !found.evidence.is_empty());
    }
    assert!(Signatures::CAUTION.contains("acid"));
    // All of it gone is an answer, not an error.
    assert!(read(nitrite(1_000.0, 0.0, 1.0)).not_a_leak);
    for bad in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
        assert!(signatures(&nitrite(bad, 1.0, 1.0), &Bounds::default()).is_err());
        assert!(signatures(&nitrite(1.0, 1.0, bad), &Bounds::default()).is_err());
    }
}
