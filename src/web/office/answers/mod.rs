//! Answers for a customer on the telephone: source water before a fill, antifreeze and its price
//! in heat, wood beside other fuels. Worked out, nothing is kept.

pub(super) mod antifreeze;
pub(super) mod fuel;
pub(super) mod source_water;

use std::ops::RangeInclusive;

/// A number as it was typed, or the usual one when nothing was.
fn number(text: &str, usual: f64, what: &str, range: RangeInclusive<f64>) -> Result<f64, String> {
    let tidy = text.trim().trim_start_matches('$').trim_end_matches('%').trim().replace(',', "");
    if tidy.is_empty() {
        return Ok(usual);
    }
    let read = tidy.parse::<f64>().ok().filter(|v| v.is_finite() && range.contains(v));
    read.ok_or_else(|| {
        let typed: String = text.chars().take(20).collect();
        format!("{what}: “{typed}” does not fit. Write a number from {} to {}.", range.start(), range.end())
    })
}

/// What was typed, or the usual text.
fn or_usual(text: &str, usual: &str) -> String {
    Some(text.trim()).filter(|t| !t.is_empty()).unwrap_or(usual).to_owned()
}
