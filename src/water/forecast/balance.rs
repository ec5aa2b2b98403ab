//! Water lost as liquid, told apart from water gone as vapour, where a meter shows what was added.
//!
//! Vapour takes no inhibitor along: `L = Vs ln(C0/C1)` and `E = M - L` (mass balance of a well-mixed vessel).

use super::super::volume::WaterVolume;
use crate::units::{Millilitres, UnitsFirst};
use crate::water::kit::Measured;

/// One side of the balance in mL, with one standard uncertainty. It may come out below nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    pub ml: f64,
    pub plus_minus: f64,
}

impl Share {
    /// "42 gal ± 28".
    pub fn text(self, first: UnitsFirst) -> String {
        let whole = |ml: f64| Millilitres::from_f64(ml.abs()).unwrap_or(Millilitres::MAX);
        let sign = if self.ml <= -0.5 { "-" } else { "" };
        format!("{sign}{}", whole(self.ml).plus_minus(whole(self.plus_minus), first))
    }
}

/// What a meter adds to the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Vapour {
    /// No make-up meter was read: only the liquid is known.
    NotMetered,
    /// So much went as vapour.
    Gone(Share),
    /// Liquid and meter agree within their ±.
    WithinError(Share),
    /// Less was added than was lost.
    Missing(Share),
}

/// Where the water of a unit went between two tests.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// Lost with its inhibitor: leaks, draws, overflow.
    pub liquid: Share,
    pub vapour: Vapour,
}

/// The balance between two tests with no dose or drain between. `metered`: make-up read on a meter, with its ±.
/// None where a level is 0.
pub fn balance(volume: WaterVolume, before: Measured, after: Measured, metered: Option<(Millilitres, Millilitres)>) -> Option<Balance> {
    if before.level.get() == 0 || after.level.get() == 0 {
        return None;
    }
    let fall = (before.level.as_f64() / after.level.as_f64()).ln();
    let relative = |test: Measured| test.sd.as_f64() / test.level.as_f64();
    let vs = volume.volume().as_f64();
    let tests = vs * relative(before).hypot(relative(after));
    let liquid = Share { ml: vs * fall, plus_minus: tests.hypot(fall * volume.plus_minus().as_f64()) };
    let vapour = metered.map_or(Vapour::NotMetered, |(added, spread)| {
        let share = Share { ml: added.as_f64() - liquid.ml, plus_minus: liquid.plus_minus.hypot(spread.as_f64()) };
        if share.ml < -share.plus_minus {
            Vapour::Missing(share)
        } else if share.ml > share.plus_minus {
            Vapour::Gone(share)
        } else {
            Vapour::WithinError(share)
        }
    });
    Some(Balance { liquid, vapour })
}

impl Balance {
    /// In words, with its ±.
    pub fn words(self, first: UnitsFirst) -> String {
        let liquid = if self.liquid.ml.abs() <= self.liquid.plus_minus {
            format!("No loss of liquid to be told from the error of the tests ({})", self.liquid.text(first))
        } else if self.liquid.ml < 0.0 {
            "The inhibitor rose with no dose on record. Check the record".to_owned()
        } else {
            format!("Lost as liquid: {}", self.liquid.text(first))
        };
        let vapour = match self.vapour {
            Vapour::NotMetered => "Without a make-up meter nothing can be said of vapour.".to_owned(),
            Vapour::Gone(share) => format!("Gone as vapour: {}.", share.text(first)),
            Vapour::WithinError(share) => format!("Vapour is not to be told from the error ({}).", share.text(first)),
            Vapour::Missing(share) => format!(
                "Less water was metered than the inhibitor fell by ({}): meter missing or inhibitor lost otherwise.",
                share.text(first)
            ),
        };
        format!("{liquid}. {vapour}")
    }
}
