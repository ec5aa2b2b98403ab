//! Bases, programmes and kits: checks C1 to C7 and the printed conversion factors.

use std::num::NonZeroU16;

use embertide::units::Millilitres;
use embertide::water::dilution::{pounds, share_left, split_loss};
use embertide::water::{
    Basis, BasisError, Counts, KitError, Levels, Measure, PhBand, ProgrammeError, RecheckDays, Shown, Strength, TestKit, convert,
};

use crate::example::{kit, mg, ml, nitrite, ph};
use crate::near;

fn factor(from: Basis, to: Basis) -> f64 {
    from.ratio_to(to).unwrap().factor()
}

/// Factors from molar masses of the reference library chempy 0.10.2; tolerance is the last printed place.
#[test]
fn factors_match_a_reference_library() {
    let table = [
        (Basis::Nitrite, Basis::SodiumNitrite, 1.499_72),
        (Basis::Nitrite, Basis::NitriteNitrogen, 0.304_47),
        (Basis::Molybdenum, Basis::Molybdate, 1.666_97),
        (Basis::Molybdenum, Basis::SodiumMolybdate, 2.146_18),
        (Basis::Molybdenum, Basis::SodiumMolybdateDihydrate, 2.521_68),
        (Basis::Molybdate, Basis::SodiumMolybdateDihydrate, 1.512_73),
        (Basis::Sulfite, Basis::SodiumSulfite, 1.574_34),
        (Basis::BoraxDecahydrate, Basis::Boron, 0.113_38),
        (Basis::BoraxPentahydrate, Basis::Boron, 0.148_44),
        (Basis::SodiumChloride, Basis::Chloride, 0.606_61),
    ];
    for (from, to, expected) in table {
        near(factor(from, to), expected, 1e-5);
        near(factor(from, to) * factor(to, from), 1.0, 1e-12);
    }
}

/// 1,000 mg/L NO2 as a 68 % sodium nitrite blend: 1.84 lb per 100 gal, computed, tolerance 0.01 lb.
/// UFC 3-240-13FN (2005) p. 148 prints 1.7 to 1.8 lb, which is 2 to 8 % low.
#[test]
fn c1_blend_pounds_per_hundred_gallons() {
    assert_eq!(convert(mg(1_000), Basis::Nitrite, Basis::SodiumNitrite).unwrap(), mg(1_500));
    let blend = 1_000.0 * factor(Basis::Nitrite, Basis::SodiumNitrite) / 0.68;
    near(blend, 2_205.5, 0.1);
    let lb = pounds(blend, 100.0).unwrap();
    near(lb, 1.84, 0.01);
    assert!((1.02..=1.09).contains(&(lb / 1.8)) && (1.02..=1.09).contains(&(lb / 1.7)));
}

/// The metric twin printed beside it, 0.81 kg in 0.38 m3: 966 mg/L NO2, tolerance 2 (UFC p. 148, computed).
#[test]
fn c2_metric_twin() {
    near(0.81e6 / 380.0 * 0.68 * factor(Basis::SodiumNitrite, Basis::Nitrite), 966.0, 2.0);
}

/// US Army TM 10-6630-245-13&P p. 51 prints 500 mg/L Cl and 825 mg/L `NaCl` for one drop: 1.65 against 1.6485, within 0.2 %.
#[test]
fn c3_chloride_kit_factor() {
    let ours = factor(Basis::Chloride, Basis::SodiumChloride);
    near(ours, 825.0 / 500.0, 0.002 * 1.65);
    near(ours, 1.648_5, 1e-4);
}

/// A published case: nitrite 2,000 to 1,100 with no make-up and an unchanged conductivity is not a leak. Exact.
#[test]
fn c4_not_a_leak() {
    let split = split_loss(2_000.0, 1_100.0, 1.0).unwrap();
    near(split.not_dilution, 1.0, 1e-12);
    near(split.excess, 900.0, 1e-9);
}

/// NO2 1,000 to 600 while Mo falls 100 to 90: dilution leaves 900, 300 more is gone, 79.4 % of the log loss is not
/// dilution (computed, 0.1 %).
#[test]
fn c5_split_of_a_loss() {
    let split = split_loss(1_000.0, 600.0, 0.9).unwrap();
    near(split.expected, 900.0, 1e-9);
    near(split.excess, 300.0, 1e-9);
    near(split.not_dilution, 0.794, 0.001);
}

/// Conductivity 3,000 to 2,600 over a fill of 700: share left 0.8261, 0.1911 volumes exchanged (computed, 0.0005).
#[test]
fn c6_share_left_by_conductivity() {
    let left = share_left(3_000.0, 2_600.0, 700.0).unwrap();
    near(left, 0.826_1, 0.000_5);
    near(-left.ln(), 0.191_1, 0.000_5);
}

/// 100 mg/L sodium molybdate dihydrate is 66.1 mg/L `MoO4` and 39.66 mg/L Mo (computed, 0.1).
#[test]
fn c7_molybdate_bases() {
    near(100.0 * factor(Basis::SodiumMolybdateDihydrate, Basis::Molybdate), 66.1, 0.1);
    near(100.0 * factor(Basis::SodiumMolybdateDihydrate, Basis::Molybdenum), 39.66, 0.1);
    assert_eq!(convert(mg(100), Basis::SodiumMolybdateDihydrate, Basis::Molybdate).unwrap(), mg(66));
}

#[test]
fn a_basis_keeps_its_text_and_its_analyte() {
    for basis in Basis::ALL {
        assert_eq!(basis.as_str().parse::<Basis>().unwrap(), basis);
        assert_eq!(serde_json::from_str::<Basis>(&serde_json::to_string(&basis).unwrap()).unwrap(), basis);
    }
    assert_eq!("nano2".parse::<Basis>().unwrap(), Basis::SodiumNitrite);
    assert!("NO3".parse::<Basis>().unwrap_err().to_string().contains("NaNO2"));
    let wrong = convert(mg(1), Basis::Nitrite, Basis::Molybdenum);
    assert!(matches!(wrong, Err(BasisError::OtherAnalyte { .. })));
}

#[test]
fn impossible_programmes_cannot_be_made() {
    assert_eq!(Levels::new(mg(0), mg(600), mg(500), mg(900)), Err(ProgrammeError::LevelsOutOfOrder));
    assert_eq!(Levels::new(mg(0), mg(0), mg(0), mg(900)), Err(ProgrammeError::LevelsOutOfOrder));
    let levels = nitrite().levels;
    assert_eq!(levels.top_up_below(), levels.target());
    assert_eq!(levels.with_top_up_below(mg(800)).unwrap().top_up_below(), mg(800));
    assert!(levels.with_top_up_below(mg(599)).is_err());
    assert!(levels.with_top_up_below(mg(1_001)).is_err());
    assert_eq!(PhBand::new(ph(900), ph(900)), Err(ProgrammeError::PhBandReversed));
    assert_eq!(RecheckDays::new(8, 7), Err(ProgrammeError::RecheckDaysReversed));
    assert_eq!(Strength::new(0, 1_000), Err(ProgrammeError::ActiveShare));
    assert_eq!(Strength::new(1, 0), Err(ProgrammeError::Density));
    assert_eq!(Measure::new(ml(1_000), Millilitres::MIN), Err(ProgrammeError::Step));
}

/// mg/L per drop = drop mL x eq/L x 23002.5 / sample mL (two electrons per NO2, computed): 23.0 as NO2, 34.5 as `NaNO2`.
/// Uncertainty of one drop 0.58 x factor, floor 3 % of the reading (common practice, no source).
#[test]
fn drops_become_a_reading_in_the_programme_basis() {
    let read = |drops| kit().from_drops(drops, Basis::Nitrite).unwrap();
    assert_eq!(read(0).level, mg(0));
    assert_eq!(read(13).level, mg(299));
    assert_eq!(read(13).sd, mg(14), "0.58 x 23.0 = 13.3, rounded up");
    assert_eq!(read(44).level, mg(1_012));
    assert_eq!(read(44).sd, mg(31), "3 % of 1,012, rounded up");
    assert_eq!(kit().from_drops(13, Basis::SodiumNitrite).unwrap().level, mg(449), "448.5 rounded half up");
    assert_eq!(kit().from_drops(81, Basis::Nitrite), Err(KitError::TooManyDrops { drops: 81, max: 80 }));
    let diluted = TestKit { dilution: NonZeroU16::new(2).unwrap(), ..kit() };
    assert_eq!(diluted.from_drops(13, Basis::Nitrite).unwrap().level, mg(598));
    assert_eq!(diluted.own_milli(Shown::Drops(13)), Ok(897_000), "13 x 34.5 x 2, before any rounding");
    assert!(matches!(kit().from_drops(1, Basis::Molybdenum), Err(KitError::Basis(_))));
}

#[test]
fn a_value_read_off_keeps_its_dilution() {
    let photometer = TestKit {
        basis: Basis::NitriteNitrogen,
        counts: Counts::Direct { relative_sd: 50 },
        dilution: NonZeroU16::new(100).unwrap(),
        ..kit()
    };
    let read = photometer.from_value(mg(3), Basis::Nitrite).unwrap();
    assert_eq!(read.level, mg(985), "300 / 0.30447");
    assert_eq!(read.sd, mg(50));
    let own = photometer.own_milli(Shown::Value(mg(3))).unwrap();
    assert_eq!(own, 300_000, "of the water, not of the diluted sample");
    assert_eq!(photometer.shown(None, own), Ok(Shown::Value(mg(3))), "and back to what stood on the display");
    assert_eq!(photometer.own_milli(Shown::Drops(3)), Err(KitError::ReadsOff));
    assert_eq!(kit().own_milli(Shown::Value(mg(3))), Err(KitError::CountsDrops));
    assert_eq!(photometer.from_drops(3, Basis::Nitrite), Err(KitError::ReadsOff));
    assert_eq!(kit().from_value(mg(3), Basis::Nitrite), Err(KitError::CountsDrops));
}
