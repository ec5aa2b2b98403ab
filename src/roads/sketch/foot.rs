//! The strip below the picture: scale in miles and kilometres, credit; north; and lines of the globe where there are no roads.

use super::{
    super::{point::STEPS, straight::MILE_M},
    names::Taken,
    view::{View, text},
};
use std::fmt::Write;

/// Height of the strip, in pixels.
pub(super) const STRIP: f64 = 40.0;

const LENGTHS: [f64; 13] = [0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0];

/// The longest round length that fits, and its pixels.
fn round_length(unit_m: f64, view: &View) -> (f64, f64) {
    let pixels = |n: f64| n * unit_m / view.metres;
    let fits = LENGTHS.into_iter().rev().find(|n| pixels(*n) <= view.wide * 0.3).unwrap_or(LENGTHS[0]);
    (fits, pixels(fits))
}

/// A ruled scale, miles above and kilometres below, and the credit.
pub(super) fn write(out: &mut String, view: &View, credit: &str) {
    let (top, middle) = (view.high, view.high + STRIP / 2.0);
    let ((miles, long), (km, short)) = (round_length(MILE_M, view), round_length(1_000.0, view));
    let _ = write!(
        out,
        r#"<rect class="strip" y="{top}" width="{}" height="{}"/><path class="rule" d="M12 {middle}H{:.1}M12 {:.1}V{:.1}M{:.1} {:.1}V{middle}M{:.1} {middle}V{:.1}"/>"#,
        view.wide,
        STRIP + 2.0,
        12.0 + long.max(short),
        middle - 8.0,
        middle + 8.0,
        12.0 + long,
        middle - 8.0,
        12.0 + short,
        middle + 8.0
    );
    let _ = write!(
        out,
        r#"<text class="foot" x="{:.0}" y="{:.0}">{miles} mi</text><text class="foot" x="{:.0}" y="{:.0}">{km} km</text>"#,
        17.0 + long,
        middle - 3.0,
        17.0 + short,
        middle + 15.0
    );
    let _ = write!(out, r#"<text class="foot end" x="{:.0}" y="{:.0}">{}</text>"#, view.wide - 10.0, middle + 5.0, text(credit));
}

/// An arrow to the north, in the first corner that is free.
pub(super) fn north(out: &mut String, view: &View, taken: &mut Taken) {
    let (right, bottom) = (view.wide - 22.0, view.high - 56.0);
    let frame = |c: &(f64, f64)| (c.0 - 14.0, c.1 - 2.0, c.0 + 14.0, c.1 + 46.0);
    let corners = [(right, 8.0), (22.0, 8.0), (right, bottom), (22.0, bottom)];
    let (x, y) = corners.into_iter().find(|c| taken.try_take(frame(c))).unwrap_or(corners[0]);
    let _ = write!(out, r#"<g class="north" transform="translate({x} {y})"><path d="M0 2l8 20h-16z"/><text y="37">N</text></g>"#);
}

/// Lines of latitude and longitude with their degrees.
pub(super) fn globe(out: &mut String, view: &View) {
    let degrees = |steps: i32| f64::from(steps) / STEPS;
    let e = &view.extent;
    let (wide, high) = (degrees(e.east) - degrees(e.west), degrees(e.north) - degrees(e.south));
    let steps = [0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 45.0];
    let step = steps.into_iter().find(|s| wide / s <= 5.0 && high / s <= 5.0).unwrap_or(90.0);
    let places = if step < 0.01 { 3 } else { usize::from(step < 1.0) * 2 };
    let lines = |from: f64, to: f64| {
        let first = (from / step).ceil();
        (0..12).map(move |k| (first + f64::from(k)) * step).take_while(move |d| *d <= to)
    };
    let mut d = String::new();
    let mut names = String::new();
    for lat in lines(degrees(e.south), degrees(e.north)) {
        let y = view.xy(super::Point::near(lat * STEPS, f64::from(e.west))).1;
        let _ = write!(d, "M0 {y:.1}H{}", view.wide);
        let _ = write!(
            names,
            r#"<text class="foot" x="6" y="{:.0}">{:.places$}° {}</text>"#,
            y - 4.0,
            lat.abs(),
            if lat < 0.0 { "S" } else { "N" }
        );
    }
    for lon in lines(degrees(e.west), degrees(e.east)) {
        let x = view.xy(super::Point::near(f64::from(e.south), lon * STEPS)).0;
        let _ = write!(d, "M{x:.1} 0V{}", view.high);
        if x > view.wide - 64.0 {
            continue;
        }
        let _ = write!(
            names,
            r#"<text class="foot" x="{:.0}" y="{:.0}">{:.places$}° {}</text>"#,
            x + 4.0,
            view.high - 6.0,
            lon.abs(),
            if lon < 0.0 { "W" } else { "E" }
        );
    }
    let _ = write!(out, r#"<path class="globe" d="{d}"/>{names}"#);
}
