//! From points on earth to tenths of a pixel, north up; and lines made short enough to send.

use super::super::{
    point::{Extent, Point, STEPS, to_segment, whole},
    straight::EARTH_RADIUS_M,
};
use std::fmt::Write;

/// Tenths of a pixel, right and down.
pub(super) type Dot = (i32, i32);

/// The part of the earth that is drawn, and how large.
#[derive(Clone, Copy, Debug)]
pub(super) struct View {
    /// pixels
    pub(super) wide: f64,
    pub(super) high: f64,
    /// metres in a pixel
    pub(super) metres: f64,
    pub(super) extent: Extent,
    middle: (f64, f64),
    /// pixels in a step north, and in one east
    up: f64,
    across: f64,
}

impl View {
    /// All points with a margin in pixels, and at least `least_m` metres in either direction.
    pub(super) fn fit(points: impl Iterator<Item = Point>, wide: f64, high: f64, margin: f64, least_m: f64) -> Option<Self> {
        let e = Extent::of(points)?;
        let middle = (f64::midpoint(f64::from(e.south), f64::from(e.north)), f64::midpoint(f64::from(e.west), f64::from(e.east)));
        let shrink = (middle.0 / STEPS).to_radians().cos().max(0.01);
        let step = STEPS.recip().to_radians() * EARTH_RADIUS_M;
        let metres_wide = ((f64::from(e.east) - f64::from(e.west)) * step * shrink).max(least_m);
        let metres_high = ((f64::from(e.north) - f64::from(e.south)) * step).max(least_m);
        let metres = (metres_wide / (wide - 2.0 * margin).max(1.0)).max(metres_high / (high - 2.0 * margin).max(1.0)).max(0.5);
        let (up, across) = (step / metres, step * shrink / metres);
        let (half_high, half_wide) = (high / 2.0 / up, wide / 2.0 / across);
        let (low, top) = (Point::near(middle.0 - half_high, middle.1 - half_wide), Point::near(middle.0 + half_high, middle.1 + half_wide));
        let extent = Extent { south: low.lat(), west: low.lon(), north: top.lat(), east: top.lon() };
        Some(Self { wide, high, metres, extent, middle, up, across })
    }

    pub(super) fn dot(&self, p: Point) -> Dot {
        let x = (f64::from(p.lon()) - self.middle.1) * self.across + self.wide / 2.0;
        let y = self.high / 2.0 - (f64::from(p.lat()) - self.middle.0) * self.up;
        // Far outside nothing is drawn, and sums must not overflow.
        (whole((x * 10.0).clamp(-1e7, 1e7)), whole((y * 10.0).clamp(-1e7, 1e7)))
    }

    pub(super) fn dots(&self, line: &[Point]) -> Vec<Dot> {
        line.iter().map(|p| self.dot(*p)).collect()
    }

    /// Pixels.
    pub(super) fn xy(&self, p: Point) -> (f64, f64) {
        let (x, y) = self.dot(p);
        (f64::from(x) / 10.0, f64::from(y) / 10.0)
    }

    /// The stretches of a line that come near the picture.
    pub(super) fn clip(&self, line: &[Dot]) -> Vec<Vec<Dot>> {
        let margin = 200;
        let (right, bottom) = (whole(self.wide * 10.0) + margin, whole(self.high * 10.0) + margin);
        let outside = |a: Dot, b: Dot| a.0.max(b.0) < -margin || a.1.max(b.1) < -margin || a.0.min(b.0) > right || a.1.min(b.1) > bottom;
        let mut all = Vec::new();
        let mut now: Vec<Dot> = Vec::new();
        for w in line.windows(2) {
            if outside(w[0], w[1]) {
                if !now.is_empty() {
                    all.push(std::mem::take(&mut now));
                }
                continue;
            }
            if now.is_empty() {
                now.push(w[0]);
            }
            now.push(w[1]);
        }
        if !now.is_empty() {
            all.push(now);
        }
        all
    }
}

/// Fewer points of a line, none of those left out further than `most` tenths of a pixel from it (Douglas and Peucker 1973).
pub(super) fn simplify(line: &[Dot], most: f64) -> Vec<Dot> {
    if line.len() < 3 {
        return line.to_vec();
    }
    let mut keep = vec![false; line.len()];
    keep[0] = true;
    keep[line.len() - 1] = true;
    let mut open = vec![(0, line.len() - 1)];
    while let Some((i, j)) = open.pop() {
        let from = |q: Dot, m: Dot| (f64::from(q.0 - m.0), f64::from(q.1 - m.1));
        let (mut far, mut at) = (most, 0);
        for m in i + 1..j {
            let d = to_segment(from(line[i], line[m]), from(line[j], line[m])).0;
            if d > far {
                (far, at) = (d, m);
            }
        }
        if at > 0 {
            keep[at] = true;
            open.push((i, at));
            open.push((at, j));
        }
    }
    line.iter().zip(keep).filter(|p| p.1).map(|p| *p.0).collect()
}

/// A line as an SVG path: the first point, then steps.
pub(super) fn path(out: &mut String, line: &[Dot]) {
    let Some(first) = line.first() else { return };
    let _ = write!(out, "M{} {}l", first.0, first.1);
    let mut last = *first;
    let mut any = false;
    for &p in &line[1..] {
        let (dx, dy) = (p.0 - last.0, p.1 - last.1);
        last = p;
        if dx == 0 && dy == 0 {
            continue;
        }
        let _ = write!(out, "{}{dx}{}{dy}", if any && dx >= 0 { " " } else { "" }, if dy >= 0 { " " } else { "" });
        any = true;
    }
    if !any {
        out.push_str("0 0");
    }
}

/// Text that XML may hold.
pub(super) fn text(s: &str) -> String {
    let mut out = String::with_capacity(s.len());
    for c in s.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => out.push(' '),
            c => out.push(c),
        }
    }
    out
}
