//! In which substance a concentration is counted. "1,000 mg/L nitrite" means two things that differ by
//! 1.4997 (as NO2, as `NaNO2`), so a number never travels without its basis.
//!
//! Molar masses are sums of the IUPAC standard atomic weights (2021, abridged): H 1.008, B 10.81, C 12.011,
//! N 14.007, O 15.999, Na 22.98977, Si 28.085, S 32.06, Cl 35.45, Ca 40.078, Mo 95.95; the same values as
//! in the reference library chempy 0.10.2.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::units::{MgPerLitre, UnitError, round_div};

/// What a test measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Analyte {
    Nitrite,
    Molybdate,
    Sulfite,
    Borate,
    Chloride,
    Azole,
    Silicate,
    Hardness,
    /// The product itself, where its label gives limits in mg/L of product.
    Product,
}

/// The substance an analyte is counted as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "&'static str")]
pub enum Basis {
    Nitrite,
    SodiumNitrite,
    NitriteNitrogen,
    Molybdenum,
    Molybdate,
    SodiumMolybdate,
    SodiumMolybdateDihydrate,
    Sulfite,
    SodiumSulfite,
    Boron,
    BoraxDecahydrate,
    BoraxPentahydrate,
    Chloride,
    SodiumChloride,
    Tolyltriazole,
    Silica,
    CalciumCarbonate,
    Product,
}

/// Why a basis could not be read or converted.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum BasisError {
    #[error("“{0}” is not a known basis. Use one of: {list}.", list = Basis::list())]
    Unknown(String),
    #[error("A reading {from} cannot be turned into one {to}: they are different substances.")]
    OtherAnalyte { from: Basis, to: Basis },
    #[error(transparent)]
    OutOfRange(#[from] UnitError),
}

/// An exact fraction by which a value in one basis becomes a value in another. Both parts are positive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ratio {
    num: i64,
    den: i64,
}

impl Ratio {
    pub(crate) fn num(self) -> i128 {
        i128::from(self.num)
    }

    pub(crate) fn den(self) -> i128 {
        i128::from(self.den)
    }

    /// The factor as a number: 1.4997 from NO2 to `NaNO2`.
    pub fn factor(self) -> f64 {
        let exact = |part| f64::from(i32::try_from(part).unwrap_or(i32::MAX));
        exact(self.num) / exact(self.den)
    }
}

impl Basis {
    /// Every basis, in the order shown in a list.
    pub const ALL: [Self; 18] = [
        Self::Nitrite,
        Self::SodiumNitrite,
        Self::NitriteNitrogen,
        Self::Molybdenum,
        Self::Molybdate,
        Self::SodiumMolybdate,
        Self::SodiumMolybdateDihydrate,
        Self::Sulfite,
        Self::SodiumSulfite,
        Self::Boron,
        Self::BoraxDecahydrate,
        Self::BoraxPentahydrate,
        Self::Chloride,
        Self::SodiumChloride,
        Self::Tolyltriazole,
        Self::Silica,
        Self::CalciumCarbonate,
        Self::Product,
    ];

    /// The analyte, its formula (also the text kept in the database), molar mass in 10^-5 g/mol,
    /// and how many atoms of the analyte one formula unit holds.
    const fn facts(self) -> (Analyte, &'static str, i64, i64) {
        match self {
            Self::Nitrite => (Analyte::Nitrite, "NO2", 4_600_500, 1),
            Self::SodiumNitrite => (Analyte::Nitrite, "NaNO2", 6_899_477, 1),
            Self::NitriteNitrogen => (Analyte::Nitrite, "N", 1_400_700, 1),
            Self::Molybdenum => (Analyte::Molybdate, "Mo", 9_595_000, 1),
            Self::Molybdate => (Analyte::Molybdate, "MoO4", 15_994_600, 1),
            Self::SodiumMolybdate => (Analyte::Molybdate, "Na2MoO4", 20_592_554, 1),
            Self::SodiumMolybdateDihydrate => (Analyte::Molybdate, "Na2MoO4.2H2O", 24_195_554, 1),
            Self::Sulfite => (Analyte::Sulfite, "SO3", 8_005_700, 1),
            Self::SodiumSulfite => (Analyte::Sulfite, "Na2SO3", 12_603_654, 1),
            Self::Boron => (Analyte::Borate, "B", 1_081_000, 1),
            Self::BoraxDecahydrate => (Analyte::Borate, "Na2B4O7.10H2O", 38_136_254, 4),
            Self::BoraxPentahydrate => (Analyte::Borate, "Na2B4O7.5H2O", 29_128_754, 4),
            Self::Chloride => (Analyte::Chloride, "Cl", 3_545_000, 1),
            Self::SodiumChloride => (Analyte::Chloride, "NaCl", 5_843_977, 1),
            Self::Tolyltriazole => (Analyte::Azole, "tolyltriazole", 1, 1),
            Self::Silica => (Analyte::Silicate, "SiO2", 1, 1),
            Self::CalciumCarbonate => (Analyte::Hardness, "CaCO3", 1, 1),
            Self::Product => (Analyte::Product, "product", 1, 1),
        }
    }

    /// What is measured.
    pub const fn analyte(self) -> Analyte {
        self.facts().0
    }

    /// The formula, as kept in the database: "NO2", "Na2MoO4.2H2O".
    pub const fn as_str(self) -> &'static str {
        self.facts().1
    }

    /// The exact factor to another basis of the same analyte.
    pub fn ratio_to(self, to: Self) -> Result<Ratio, BasisError> {
        let (analyte, _, mass, atoms) = self.facts();
        let (other, _, to_mass, to_atoms) = to.facts();
        if analyte != other {
            return Err(BasisError::OtherAnalyte { from: self, to });
        }
        Ok(Ratio { num: to_mass * atoms, den: mass * to_atoms })
    }

    fn list() -> String {
        Self::ALL.map(Self::as_str).join(", ")
    }
}

/// `value` mg/L counted as `from`, counted as `to`, rounded to the nearest mg/L.
///
/// Errors when the two are different analytes or the result is out of range.
pub fn convert(value: MgPerLitre, from: Basis, to: Basis) -> Result<MgPerLitre, BasisError> {
    let ratio = from.ratio_to(to)?;
    let wide = round_div(i128::from(value.get()) * ratio.num(), ratio.den());
    Ok(MgPerLitre::new(i64::try_from(wide).unwrap_or(i64::MAX))?)
}

impl fmt::Display for Basis {
    /// "as NO2".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "as {}", self.as_str())
    }
}

impl FromStr for Basis {
    type Err = BasisError;
    fn from_str(text: &str) -> Result<Self, BasisError> {
        let same = |basis: &&Self| basis.as_str().eq_ignore_ascii_case(text.trim());
        Self::ALL.iter().find(same).copied().ok_or_else(|| BasisError::Unknown(text.chars().take(40).collect()))
    }
}

impl TryFrom<String> for Basis {
    type Error = BasisError;
    fn try_from(text: String) -> Result<Self, BasisError> {
        text.parse()
    }
}

impl From<Basis> for &'static str {
    fn from(basis: Basis) -> Self {
        basis.as_str()
    }
}
