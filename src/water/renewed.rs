//! Part of the water renewed after the test, with plain water: what the reading then stands for.

use super::TableRow;
use crate::units::MgPerLitre;

/// How much of the water was let out and filled anew since the sample was taken.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Renewed {
    #[default]
    None,
    Quarter,
    Half,
    ThreeQuarters,
    All,
}

impl Renewed {
    /// From nothing to all.
    pub const ALL: [Self; 5] = [Self::None, Self::Quarter, Self::Half, Self::ThreeQuarters, Self::All];

    /// Quarters of the water, 0 to 4.
    pub const fn quarters(self) -> u8 {
        match self {
            Self::None => 0,
            Self::Quarter => 1,
            Self::Half => 2,
            Self::ThreeQuarters => 3,
            Self::All => 4,
        }
    }

    /// In words, for a list.
    pub const fn words(self) -> &'static str {
        match self {
            Self::None => "nothing",
            Self::Quarter => "a quarter of the water",
            Self::Half => "half of the water",
            Self::ThreeQuarters => "three quarters of the water",
            Self::All => "all of the water",
        }
    }

    /// Reads the quarters of a form; anything else is nothing.
    pub fn parse(text: &str) -> Self {
        Self::ALL.into_iter().find(|r| r.quarters().to_string() == text.trim()).unwrap_or_default()
    }

    /// The level once the rest has mixed with the plain water: one batch, `C (1 - share)`
    /// (as [`super::dilution::batch`] with a refill of strength 0), rounded down.
    pub fn level(self, before: MgPerLitre) -> MgPerLitre {
        MgPerLitre::new(before.get() * i64::from(4 - self.quarters()) / 4).unwrap_or(MgPerLitre::MIN)
    }
}

/// For each row of a dose table, the rows that hold once a quarter, half, three quarters, all of the water is renewed:
/// those of the highest level not above the mixed one, so that rounding never doses too little.
pub fn renewed_rows(rows: &[TableRow]) -> Vec<[usize; 4]> {
    let at = |level: MgPerLitre| rows.iter().rposition(|r| r.level <= level).unwrap_or(0);
    let of = |row: &TableRow| [Renewed::Quarter, Renewed::Half, Renewed::ThreeQuarters, Renewed::All].map(|r| at(r.level(row.level)));
    rows.iter().map(of).collect()
}
