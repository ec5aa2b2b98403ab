//! What was put right at the unit, as it stands on a sheet: for each field what the records said, and what is so.

use super::typed::{Typed, Wrong};
use crate::{
    store::amendments::{Amendment, pin_text},
    units::{Millilitres, UnitsFirst, VolumeUnit, parse_volume},
    water::{Method, WaterVolume},
};

/// Everything that was put right. Emptied pins and volumes are no statement; an emptied note is.
pub(super) fn read(typed: &Typed, first: UnitsFirst, wrong: &mut Vec<Wrong>) -> Vec<Amendment> {
    let mut found = Vec::new();
    let text = |field: &str| -> Option<(String, String)> {
        let (was, now) = (typed.given(&format!("was.{field}"))?, typed.given(&format!("now.{field}"))?);
        let now: String = now.trim().chars().take(2000).collect();
        let same = |a: &str, b: &str| a.trim().lines().map(str::trim).eq(b.lines().map(str::trim));
        (!same(was, &now)).then(|| (was.to_owned(), now))
    };
    if let Some((was, now)) = text("access") {
        found.push(Amendment::Access { was, now });
    }
    if let Some((was, now)) = text("hazards") {
        found.push(Amendment::Hazards { was, now });
    }
    if let Some((was, now)) = text("phone") {
        found.push(Amendment::Phone { was, now: now.chars().take(40).collect() });
    }
    let told = |field: &'static str, says: String| Wrong { field, says };
    match pin(typed) {
        Ok(one) => found.extend(one),
        Err(says) => wrong.push(told("now-pin", says)),
    }
    match volume(typed, first) {
        Ok(one) => found.extend(one),
        Err(says) => wrong.push(told("now-volume", says)),
    }
    found
}

fn position(text: &str) -> Option<(f64, f64)> {
    let parts: Vec<&str> = text.split([',', ' ', ';']).filter(|p| !p.is_empty()).collect();
    let [lat, lon] = parts[..] else { return None };
    let (lat, lon): (f64, f64) = (lat.parse().ok()?, lon.parse().ok()?);
    ((-90.0..=90.0).contains(&lat) && (-180.0..=180.0).contains(&lon)).then_some((lat, lon))
}

fn pin(typed: &Typed) -> Result<Option<Amendment>, String> {
    let text = typed.get("now.pin");
    if text.is_empty() {
        return Ok(None);
    }
    let shown: String = text.chars().take(40).collect();
    let now = position(text).ok_or_else(|| format!("“{shown}” is no position. Write latitude, then longitude, as in 44.612, -73.201."))?;
    let was = position(typed.get("was.pin"));
    Ok((pin_text(was) != pin_text(Some(now))).then_some(Amendment::Pin { was, now }))
}

fn volume(typed: &Typed, first: UnitsFirst) -> Result<Option<Amendment>, String> {
    let text = typed.get("now.volume");
    if text.is_empty() {
        return Ok(None);
    }
    let usual = if first == UnitsFirst::Metric { VolumeUnit::Litre } else { VolumeUnit::UsGallon };
    let found = parse_volume(text, usual).map_err(|e| e.to_string())?.0;
    let method = typed.get("volume_method").parse().unwrap_or(Method::Guess);
    let now = WaterVolume::by(found, method).map_err(|e| e.to_string())?;
    let was = typed.get("was.volume").parse().ok().and_then(|ml| Millilitres::new(ml).ok());
    Ok(Some(Amendment::Volume { was, now }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(pairs: &[(&str, &str)]) -> (Vec<Amendment>, Vec<Wrong>) {
        let mut wrong = Vec::new();
        let typed = Typed(pairs.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect());
        (read(&typed, UnitsFirst::Us, &mut wrong), wrong)
    }

    #[test]
    fn a_sheet_that_changes_nothing_says_nothing() {
        let same = [
            ("was.access", "Gate code at the barn\nDog"),
            ("now.access", " Gate code at the barn\r\nDog "),
            ("was.pin", ""),
            ("now.pin", ""),
        ];
        assert_eq!(sheet(&same), (vec![], vec![]));
        assert_eq!(sheet(&[("now.access", "no word of what was")]), (vec![], vec![]), "an old form that has no such fields");
    }

    #[test]
    fn what_was_typed_is_read_with_what_it_replaces() {
        let (found, wrong) = sheet(&[
            ("was.hazards", "Dog"),
            ("now.hazards", ""),
            ("was.pin", "44.61200,-73.20100"),
            ("now.pin", "44.6123, -73.2016"),
            ("was.volume", "1514165"),
            ("now.volume", "430"),
            ("volume_method", "water_meter"),
        ]);
        assert_eq!(wrong, []);
        assert_eq!(found[0], Amendment::Hazards { was: "Dog".to_owned(), now: String::new() });
        assert_eq!(found[1], Amendment::Pin { was: Some((44.612, -73.201)), now: (44.6123, -73.2016) });
        let Amendment::Volume { was, now } = &found[2] else { panic!("{found:?}") };
        // 430 US gallons of 3.785411784 L.
        assert_eq!((was.map(Millilitres::get), now.volume().get(), now.method()), (Some(1_514_165), 1_627_727, Method::WaterMeter));
    }

    #[test]
    fn what_cannot_be_read_is_told_beside_its_field() {
        for (field, text) in [("now.pin", "by the barn"), ("now.pin", "144, 2"), ("now.pin", "NaN, NaN"), ("now.volume", "lots")] {
            let (found, wrong) = sheet(&[(field, text)]);
            assert_eq!((found.len(), wrong.len()), (0, 1), "{text}");
            assert_eq!(wrong[0].field, field.replace('.', "-"));
        }
    }
}
