//! Reading what people type: "1,050", "13 drops", "7.9", "400 gal", "1514 L".

use super::{Celsius, MgPerLitre, Micrometres, Millilitres, Ph, TemperatureUnit, UnitError, UnitsFirst, VolumeUnit, round_div};

/// A typed number, held exactly as digits × 10^-scale.
#[derive(Debug, Clone, Copy)]
struct Decimal {
    digits: i128,
    scale: u32,
}

impl Decimal {
    /// This number × num / den, rounded half away from zero.
    fn times(self, (num, den): (i128, i128)) -> i128 {
        round_div(self.digits * num, den * 10_i128.pow(self.scale))
    }
}

/// Splits "1,050 mg/L" into the number and the unit as lower-case words without dots.
fn split(text: &str, quantity: &'static str) -> Result<(Decimal, String), UnitError> {
    let typed = text.trim();
    if typed.is_empty() {
        return Err(UnitError::Empty { quantity });
    }
    let end = typed.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | '+' | '\u{2212}'))).unwrap_or(typed.len());
    let (number, rest) = typed.split_at(end);
    let unit = rest.to_lowercase().replace(['.', '(', ')'], " ");
    let unit = unit.split_whitespace().collect::<Vec<_>>().join(" ");
    if unit.starts_with(|c: char| c.is_ascii_digit()) {
        return Err(UnitError::NotANumber { typed: shorten(typed) });
    }
    Ok((decimal(number, typed)?, unit))
}

fn decimal(number: &str, typed: &str) -> Result<Decimal, UnitError> {
    let not_a_number = || UnitError::NotANumber { typed: shorten(typed) };
    let negative = number.starts_with(['-', '\u{2212}']);
    let body = number.strip_prefix(['-', '\u{2212}', '+']).unwrap_or(number);
    let (whole, fraction) = body.split_once('.').unwrap_or((body, ""));
    if fraction.contains(',') || !thousands_are_whole(whole) {
        return Err(UnitError::DecimalComma { typed: shorten(typed) });
    }
    let digits: String = whole.chars().filter(|c| *c != ',').chain(fraction.chars()).collect();
    if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return Err(not_a_number());
    }
    if digits.len() > 18 {
        return Err(UnitError::TooManyDigits { typed: shorten(typed) });
    }
    let value: i128 = digits.parse().map_err(|_| not_a_number())?;
    let scale = u32::try_from(fraction.len()).map_err(|_| not_a_number())?;
    Ok(Decimal { digits: if negative { -value } else { value }, scale })
}

/// True when there is no comma, or each comma is followed by exactly three digits and the first group is 1 to 999.
fn thousands_are_whole(whole: &str) -> bool {
    let mut groups = whole.split(',');
    let first = groups.next().unwrap_or_default();
    let rest: Vec<_> = groups.collect();
    rest.is_empty() || ((1..=3).contains(&first.len()) && !first.starts_with('0') && rest.iter().all(|g| g.len() == 3))
}

pub(super) fn shorten(typed: &str) -> String {
    typed.chars().take(40).collect()
}

/// Reads "400 gal", "1514 L", "22 fl oz", or a bare number in `default`. Returns the unit it was typed in as well.
pub fn parse_volume(text: &str, default: VolumeUnit) -> Result<(Millilitres, VolumeUnit), UnitError> {
    let (number, name) = split(text, Millilitres::QUANTITY)?;
    if name.split(' ').any(|word| word.starts_with("imp") || word == "uk") {
        return Err(UnitError::Imperial { typed: shorten(text.trim()) });
    }
    let unit = if name.is_empty() { Some(default) } else { VolumeUnit::named(&name) };
    let Some(unit) = unit else {
        let accepted = "US gal, US fl oz, L or mL";
        return Err(UnitError::UnknownUnit { quantity: Millilitres::QUANTITY, unit: shorten(&name), accepted });
    };
    let value = Millilitres::from_wide(number.times(unit.ratio()), || shorten(text.trim()))?;
    Ok((value, unit))
}

/// Reads "13" or "13 drops".
pub fn parse_drops(text: &str) -> Result<u16, UnitError> {
    let quantity = "drops";
    let (number, name) = split(text, quantity)?;
    if !matches!(name.as_str(), "" | "drop" | "drops") {
        return Err(UnitError::UnknownUnit { quantity, unit: shorten(&name), accepted: "drops" });
    }
    if number.digits % 10_i128.pow(number.scale) != 0 {
        return Err(UnitError::NotWhole { quantity, typed: shorten(text.trim()) });
    }
    let out_of_range = |_| UnitError::OutOfRange { quantity, typed: shorten(text.trim()), range: "0 to 65,535" };
    u16::try_from(number.times((1, 1))).map_err(out_of_range)
}

/// Reads "7.9" or "pH 7.9"; more than two decimals are rounded.
pub fn parse_ph(text: &str) -> Result<Ph, UnitError> {
    let typed = text.trim();
    let lower = typed.to_lowercase();
    let (number, name) = split(lower.strip_prefix("ph").unwrap_or(&lower), Ph::QUANTITY)?;
    if !matches!(name.as_str(), "" | "ph") {
        return Err(UnitError::UnknownUnit { quantity: Ph::QUANTITY, unit: shorten(&name), accepted: "no unit" });
    }
    Ph::from_wide(number.times((100, 1)), || shorten(typed))
}

/// Reads "1,050", "1050 mg/L" or "1050 ppm"; for hardness also "17 gpg" (grains per US gal, as `CaCO3`).
pub fn parse_mg_per_litre(text: &str) -> Result<MgPerLitre, UnitError> {
    let (number, name) = split(text, MgPerLitre::QUANTITY)?;
    let ratio = match name.as_str() {
        "" | "mg/l" | "ppm" => (1, 1),
        "gpg" | "grains" | "grains per gallon" => (64_798_910_000, 3_785_411_784),
        _ => {
            let accepted = "mg/L, ppm or gpg";
            return Err(UnitError::UnknownUnit { quantity: MgPerLitre::QUANTITY, unit: shorten(&name), accepted });
        }
    };
    MgPerLitre::from_wide(number.times(ratio), || shorten(text.trim()))
}

/// Reads "180 F", "82 °C", or a bare number in `default`.
pub fn parse_celsius(text: &str, default: TemperatureUnit) -> Result<Celsius, UnitError> {
    let (number, name) = split(text, Celsius::QUANTITY)?;
    let unit = match name.trim_start_matches('°').trim() {
        "" => default,
        "c" | "celsius" => TemperatureUnit::Celsius,
        "f" | "fahrenheit" => TemperatureUnit::Fahrenheit,
        _ => {
            let accepted = "°F or °C";
            return Err(UnitError::UnknownUnit { quantity: Celsius::QUANTITY, unit: shorten(&name), accepted });
        }
    };
    let tenths = match unit {
        TemperatureUnit::Celsius => number.times((10, 1)),
        TemperatureUnit::Fahrenheit => {
            let above_freezing = number.digits - 32 * 10_i128.pow(number.scale);
            Decimal { digits: above_freezing, ..number }.times((50, 9))
        }
    };
    Celsius::from_wide(tenths, || shorten(text.trim()))
}

/// Reads "200,000 Btu/h", "58 kW", or a bare number in Btu/h (`UnitsFirst::Us`) or kW: whole watts, 1 kW to 2 MW.
///
/// A Btu (International Table) an hour is 0.293 071 1 W: NIST SP 811 (2008), appendix B.8.
pub fn parse_output(text: &str, default: UnitsFirst) -> Result<i32, UnitError> {
    const QUANTITY: &str = "the output";
    let (number, name) = split(text, QUANTITY)?;
    let ratio = match (name.as_str(), default) {
        ("btu/h" | "btu/hr" | "btuh" | "btu", _) | ("", UnitsFirst::Us) => (2_930_711, 10_000_000),
        ("kw", _) | ("", UnitsFirst::Metric) => (1_000, 1),
        ("w", _) => (1, 1),
        _ => return Err(UnitError::UnknownUnit { quantity: QUANTITY, unit: shorten(&name), accepted: "Btu/h or kW" }),
    };
    let watts = i32::try_from(number.times(ratio)).ok().filter(|w| (1_000..=2_000_000).contains(w));
    let range = "3,412 to 6,824,000 Btu/h (1 to 2,000 kW)";
    watts.ok_or_else(|| UnitError::OutOfRange { quantity: QUANTITY, typed: shorten(text.trim()), range })
}

/// Reads "150 ft", "45.7 m", or a bare number in feet (`UnitsFirst::Us`) or metres.
pub fn parse_length(text: &str, default: UnitsFirst) -> Result<Micrometres, UnitError> {
    let (number, name) = split(text, Micrometres::QUANTITY)?;
    let ratio = match (name.as_str(), default) {
        ("ft" | "foot" | "feet" | "'", _) | ("", UnitsFirst::Us) => (304_800, 1),
        ("m" | "metre" | "metres" | "meter" | "meters", _) | ("", UnitsFirst::Metric) => (1_000_000, 1),
        ("in" | "inch" | "inches", _) => (25_400, 1),
        _ => {
            let accepted = "ft, in or m";
            return Err(UnitError::UnknownUnit { quantity: Micrometres::QUANTITY, unit: shorten(&name), accepted });
        }
    };
    Micrometres::from_wide(number.times(ratio), || shorten(text.trim()))
}
