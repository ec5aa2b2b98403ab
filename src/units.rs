//! Quantities with units: held as whole numbers of a base unit, parsed from what people type,
//! converted once, at display.
//!
//! Exact constants: 1 US gal = 231 in³ = 3.785411784 L (NIST Handbook 44, appendix C); 1 fl oz = gal / 128;
//! 1 lb = 453.59237 g; 1 ft = 0.3048 m; °F = °C × 9/5 + 32; 1 grain = 64.79891 mg.
//! Numbers never pass through floating point on their way in, so there is no NaN and no rounding surprise.

use serde::{Deserialize, Serialize};
use thiserror::Error;

mod day;
mod typed;

pub use day::{day_long, day_short, day_with_year, month_day, parse_date, parse_time_of_day, span, time_of_day};
pub use typed::{parse_celsius, parse_drops, parse_length, parse_mg_per_litre, parse_output, parse_ph, parse_volume};

/// A figure that is kept in parts of a whole, as people write it: `decimal(6_500, 1000)` is "6.5". `per` is a power of ten.
pub fn decimal(value: i64, per: u32) -> String {
    let (sign, value, per) = (if value < 0 { "-" } else { "" }, value.unsigned_abs(), u64::from(per.max(1)));
    if per == 1 {
        return format!("{sign}{value}");
    }
    let text = format!("{sign}{}.{:0width$}", value / per, value % per, width = per.ilog10() as usize);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Grams in one pound (exact).
pub const GRAMS_PER_POUND: f64 = 453.592_37;
/// Litres in one US gallon (exact).
pub const LITRES_PER_US_GALLON: f64 = 3.785_411_784;

/// What was wrong with a typed value, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum UnitError {
    #[error("Nothing was entered for {quantity}. Enter a number, like 1,050 or 7.9.")]
    Empty { quantity: &'static str },
    #[error("Give the day, as Oct 5, 2026 or 2026-10-05.")]
    NoDate,
    #[error("“{typed}” is not a number. Write digits, like 1,050 or 7.9, then the unit.")]
    NotANumber { typed: String },
    #[error("“{typed}”: a comma only goes between thousands, as in 1,050. Write decimals with a point, as in 7.9.")]
    DecimalComma { typed: String },
    #[error("“{typed}” has too many digits. Round it first.")]
    TooManyDigits { typed: String },
    #[error("“{typed}” is not a whole number. Count {quantity} in whole numbers.")]
    NotWhole { quantity: &'static str, typed: String },
    #[error("“{unit}” is not a unit for {quantity}. Use {accepted}.")]
    UnknownUnit { quantity: &'static str, unit: String, accepted: &'static str },
    #[error("“{typed}” is imperial measure. Give it in US gal, US fl oz or L.")]
    Imperial { typed: String },
    #[error("“{typed}” is out of range: {quantity} must be {range}.")]
    OutOfRange { quantity: &'static str, typed: String, range: &'static str },
    #[error("“{typed}” can be read as two different days. Write the month by name, as in Oct 5, 2026, or 2026-10-05.")]
    AmbiguousDate { typed: String },
    #[error("“{typed}” is not a date. Write it as Oct 5, 2026 or 2026-10-05, with the year in full.")]
    NotADate { typed: String },
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $words:literal, $range:literal, $min:literal ..= $max:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(try_from = "i64", into = "i64")]
        pub struct $name(i64);

        impl $name {
            /// The quantity in words, as used in messages.
            pub const QUANTITY: &'static str = $words;
            /// Smallest allowed value.
            pub const MIN: Self = Self($min);
            /// Largest allowed value.
            pub const MAX: Self = Self($max);

            /// From whole base units; refuses what is out of range.
            pub fn new(base: i64) -> Result<Self, UnitError> {
                Self::from_wide(i128::from(base), || base.to_string())
            }

            /// Whole base units.
            pub const fn get(self) -> i64 {
                self.0
            }

            /// As a floating-point number of base units (always finite and exact).
            pub fn as_f64(self) -> f64 {
                f64::from(i32::try_from(self.0).unwrap_or(i32::MAX))
            }

            fn from_wide(base: i128, typed: impl FnOnce() -> String) -> Result<Self, UnitError> {
                match i64::try_from(base) {
                    Ok(value) if ($min..=$max).contains(&value) => Ok(Self(value)),
                    _ => Err(UnitError::OutOfRange { quantity: $words, typed: typed(), range: $range }),
                }
            }
        }

        impl TryFrom<i64> for $name {
            type Error = UnitError;
            fn try_from(base: i64) -> Result<Self, UnitError> {
                Self::new(base)
            }
        }

        impl From<$name> for i64 {
            fn from(value: $name) -> i64 {
                value.0
            }
        }
    };
}

quantity!(
    /// A volume in whole millilitres, up to 1,000 m³.
    Millilitres, "a volume", "0 to 1,000,000 L", 0 ..= 1_000_000_000
);
quantity!(
    /// A concentration in whole mg/L; its basis is kept beside it.
    MgPerLitre, "a concentration", "0 to 1,000,000 mg/L", 0 ..= 1_000_000
);
quantity!(
    /// pH in hundredths: `Ph::new(850)` is pH 8.50.
    Ph, "pH", "0 to 14", 0 ..= 1_400
);
quantity!(
    /// A temperature in tenths of a degree Celsius.
    Celsius, "a temperature", "-60 to 200 °C (-76 to 392 °F)", -600 ..= 2_000
);
quantity!(
    /// A conductivity at 25 °C in whole µS/cm.
    Microsiemens, "a conductivity", "0 to 200,000 µS/cm", 0 ..= 200_000
);
quantity!(
    /// A pipe or vessel length in whole micrometres (an inch is 25,400), up to 2 km.
    Micrometres, "a length", "0 to 2 km (6,561 ft)", 0 ..= 2_000_000_000
);
quantity!(
    /// A road distance in whole metres.
    Metres, "a distance", "0 to 2,000 km", 0 ..= 2_000_000
);

/// Which system of units a page shows first. Doses always show both.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum UnitsFirst {
    #[default]
    Us,
    Metric,
}

/// A unit in which people type volumes. Gallons, quarts, pints and fluid ounces are US measure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VolumeUnit {
    Millilitre,
    Litre,
    UsFluidOunce,
    UsPint,
    UsQuart,
    UsGallon,
}

impl VolumeUnit {
    /// Millilitres in one unit, as an exact fraction.
    pub(crate) const fn ratio(self) -> (i128, i128) {
        match self {
            Self::Millilitre => (1, 1),
            Self::Litre => (1_000, 1),
            Self::UsFluidOunce => (295_735_295_625, 10_000_000_000),
            Self::UsPint => (473_176_473, 1_000_000),
            Self::UsQuart => (946_352_946, 1_000_000),
            Self::UsGallon => (3_785_411_784, 1_000_000),
        }
    }

    fn named(name: &str) -> Option<Self> {
        Some(match name {
            "ml" | "millilitre" | "millilitres" | "milliliter" | "milliliters" => Self::Millilitre,
            "l" | "litre" | "litres" | "liter" | "liters" => Self::Litre,
            "fl oz" | "floz" | "us fl oz" | "fluid ounce" | "fluid ounces" => Self::UsFluidOunce,
            "pt" | "pint" | "pints" | "us pt" => Self::UsPint,
            "qt" | "quart" | "quarts" | "us qt" => Self::UsQuart,
            "gal" | "gals" | "gallon" | "gallons" | "us gal" | "gal us" | "us gallon" | "us gallons" => Self::UsGallon,
            _ => return None,
        })
    }
}

/// A unit in which people type temperatures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TemperatureUnit {
    Celsius,
    Fahrenheit,
}

/// Integer division rounded half away from zero. `den` must be positive.
pub(crate) const fn round_div(num: i128, den: i128) -> i128 {
    if num >= 0 { (num + den / 2) / den } else { -((-num + den / 2) / den) }
}

impl Millilitres {
    /// From litres, where the whole result is in range.
    pub fn from_litres(litres: i64) -> Result<Self, UnitError> {
        Self::from_wide(i128::from(litres) * 1_000, || format!("{litres} L"))
    }

    /// From US gallons.
    pub fn from_us_gallons(gallons: i64) -> Result<Self, UnitError> {
        let ml = round_div(i128::from(gallons) * 3_785_411_784, 1_000_000);
        Self::from_wide(ml, || format!("{gallons} US gal"))
    }

    /// From a computed number of millilitres, rounded to the nearest; refuses what is not finite or out of range.
    pub fn from_f64(ml: f64) -> Result<Self, UnitError> {
        let refused = || UnitError::OutOfRange { quantity: Self::QUANTITY, typed: ml.to_string(), range: "0 to 1,000,000 L" };
        if !(0.0..=Self::MAX.as_f64()).contains(&ml) {
            return Err(refused());
        }
        #[expect(clippy::cast_possible_truncation, reason = "checked to lie within 0 ..= 1e9")]
        Self::new(ml.round() as i64)
    }

    /// In US gallons.
    pub fn us_gallons(self) -> f64 {
        self.as_f64() / 1_000.0 / LITRES_PER_US_GALLON
    }

    /// Whole US fluid ounces, rounded up.
    pub fn us_fl_oz_up(self) -> u32 {
        let (num, den) = VolumeUnit::UsFluidOunce.ratio();
        u32::try_from((i128::from(self.0) * den + num - 1) / num).unwrap_or(u32::MAX)
    }

    /// The volume of a jacket or a system in both units: "400 gal (1,514 L)" or "1,514 L (400 gal)".
    pub fn both(self, first: UnitsFirst) -> String {
        let (a, b) = match first {
            UnitsFirst::Us => (self.in_gallons(), self.in_litres()),
            UnitsFirst::Metric => (self.in_litres(), self.in_gallons()),
        };
        format!("{a} ({b})")
    }

    /// In the first unit only: "400 gal".
    pub fn in_first(self, first: UnitsFirst) -> String {
        if first == UnitsFirst::Us { self.in_gallons() } else { self.in_litres() }
    }

    /// Short form with its uncertainty, in the first unit only: "400 gal ± 20".
    pub fn plus_minus(self, plus_minus: Self, first: UnitsFirst) -> String {
        let (whole, spread) = (self.in_first(first), plus_minus.in_first(first));
        let spread = spread.split(' ').next().unwrap_or_default();
        // A tenth beside a whole number would promise more than is known.
        let spread = if whole.contains('.') { spread } else { spread.split('.').next().unwrap_or_default() };
        format!("{whole} ± {spread}")
    }

    fn in_gallons(self) -> String {
        format!("{} gal", whole_or_tenths(i128::from(self.0) * 1_000_000, 3_785_411_784))
    }

    fn in_litres(self) -> String {
        format!("{} L", whole_or_tenths(i128::from(self.0), 1_000))
    }

    /// What the measuring jug shows: "650 mL", from 10 L on "12.35 L".
    fn in_jug(self) -> String {
        if self.0 < 10_000 {
            return format!("{} mL", thousands(self.0));
        }
        let text = format!("{}.{:03}", thousands(self.0 / 1_000), self.0 % 1_000);
        format!("{} L", text.trim_end_matches('0').trim_end_matches('.'))
    }
}

/// An amount to measure out, always in both units: "650 mL (22 fl oz)", or "22 fl oz (650 mL)" with US units first.
/// `us_fl_oz` is given by whoever rounded the dose (it is about the same amount, not exactly).
pub fn dose_text(amount: Millilitres, us_fl_oz: u32, first: UnitsFirst) -> String {
    let us = match (us_fl_oz / 128, us_fl_oz % 128) {
        (0, 0) => "less than 1 fl oz".to_owned(),
        (0, oz) => format!("{oz} fl oz"),
        (gal, 0) => format!("{} gal", thousands(i64::from(gal))),
        (gal, oz) => format!("{} gal {oz} fl oz", thousands(i64::from(gal))),
    };
    match first {
        UnitsFirst::Us => format!("{us} ({})", amount.in_jug()),
        UnitsFirst::Metric => format!("{} ({us})", amount.in_jug()),
    }
}

/// [`dose_text`] of an amount as it is kept.
pub fn amount(ml: i64, first: UnitsFirst) -> String {
    Millilitres::new(ml).map_or_else(|_| format!("{ml} mL"), |m| dose_text(m, m.us_fl_oz_up(), first))
}

/// What a fire gives, of whole watts: "200,000 Btu/h", to the nearest thousand, or "59 kW" (tenths below 20).
pub fn output(watts: i32, first: UnitsFirst) -> String {
    let us = format!("{} Btu/h", thousands(i64::try_from(round_div(i128::from(watts) * 10_000, 2_930_711)).unwrap_or(0) * 1_000));
    if first == UnitsFirst::Us { us } else { format!("{} kW", whole_or_tenths(i128::from(watts), 1_000)) }
}

/// A way by road in whole metres: "12 mi (19 km)".
pub fn distance(metres: i32) -> String {
    let miles = (i64::from(metres) * 1000 + 804_672) / 1_609_344;
    format!("{miles} mi ({} km)", (metres + 500) / 1000)
}

/// "-28 °C (-18 °F)" of degrees Celsius, or the other way round.
pub fn degrees(celsius: f64, first: UnitsFirst) -> String {
    let (c, f) = (format!("{celsius:.0} °C"), format!("{:.0} °F", celsius * 1.8 + 32.0));
    if first == UnitsFirst::Us { format!("{f} ({c})") } else { format!("{c} ({f})") }
}

/// A fraction as text, rounded once: whole from 20 up, one decimal below when it matters.
fn whole_or_tenths(num: i128, den: i128) -> String {
    let narrow = |wide: i128| i64::try_from(wide).unwrap_or(i64::MAX);
    let tenths = narrow(round_div(num * 10, den));
    if tenths >= 200 || tenths % 10 == 0 {
        return thousands(narrow(round_div(num, den)));
    }
    format!("{}.{}", tenths / 10, tenths % 10)
}

/// A whole number with commas over 999: "1,514".
pub fn thousands(n: i64) -> String {
    let digits = n.unsigned_abs().to_string();
    let mut text = String::with_capacity(digits.len() + 4);
    if n < 0 {
        text.push('-');
    }
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            text.push(',');
        }
        text.push(c);
    }
    text
}

impl std::fmt::Display for Ph {
    /// Two decimals at most, one at least: "7.9", "8.55".
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match (self.0 / 100, self.0 % 100) {
            (whole, part) if part % 10 == 0 => write!(f, "{whole}.{}", part / 10),
            (whole, part) => write!(f, "{whole}.{part:02}"),
        }
    }
}

impl std::fmt::Display for MgPerLitre {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} mg/L", thousands(self.0))
    }
}
