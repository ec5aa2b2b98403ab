//! Numbered stops, those of neighbours moved apart; and arrows that say which way the route runs.

use super::{
    names::Taken,
    view::{Dot, View, text},
};
use std::{f64::consts::TAU, fmt::Write};

/// A stop on the picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    pub at: super::Point,
    /// what stands on it, one to three letters or digits
    pub label: String,
    /// what a screen reader says of it
    pub name: String,
    /// the depot is drawn the other way round
    pub depot: bool,
}

/// Half the height of a mark, and half its width for a label of so many letters, in pixels.
const HALF: f64 = 12.0;

fn half_wide(label: &str) -> f64 {
    HALF.max(6.0 + 4.5 * f64::from(u32::try_from(label.chars().count()).unwrap_or(9)))
}

/// A mark with its true place and the place where it is drawn, in pixels.
pub(super) struct Placed<'a> {
    mark: &'a Mark,
    true_at: (f64, f64),
    at: (f64, f64),
}

impl Placed<'_> {
    pub(super) fn frame(&self) -> super::names::Frame {
        let w = half_wide(&self.mark.label);
        (self.at.0 - w - 1.0, self.at.1 - HALF - 1.0, self.at.0 + w + 1.0, self.at.1 + HALF + 1.0)
    }
}

/// Moves marks that lie on one another apart, a little at a time, and keeps them in the picture.
pub(super) fn place<'a>(marks: &'a [Mark], view: &View) -> Vec<Placed<'a>> {
    let mut placed: Vec<Placed<'a>> = marks.iter().map(|mark| Placed { mark, true_at: view.xy(mark.at), at: view.xy(mark.at) }).collect();
    for round in 0..200 {
        let mut moved = false;
        for i in 0..placed.len() {
            for j in i + 1..placed.len() {
                moved |= push_apart(&mut placed, i, j);
            }
        }
        for p in &mut placed {
            let w = half_wide(&p.mark.label) + 4.0;
            p.at = (p.at.0.clamp(w, (view.wide - w).max(w)), p.at.1.clamp(HALF + 4.0, (view.high - HALF - 4.0).max(HALF + 4.0)));
        }
        if !moved && round > 0 {
            break;
        }
    }
    placed
}

fn push_apart(placed: &mut [Placed<'_>], i: usize, j: usize) -> bool {
    let least = f64::midpoint(half_wide(&placed[i].mark.label), half_wide(&placed[j].mark.label)) * 2.0 + 3.0;
    let (dx, dy) = (placed[j].at.0 - placed[i].at.0, placed[j].at.1 - placed[i].at.1);
    let apart = dx.hypot(dy);
    if apart >= least {
        return false;
    }
    // Two in one spot part in a direction of their own, so that many make a fan.
    let (ux, uy) = if apart > 0.5 {
        (dx / apart, dy / apart)
    } else {
        let turn = f64::from(u32::try_from(j % 12).unwrap_or(0)) / 12.0 * TAU;
        (turn.cos(), turn.sin())
    };
    let by = (least - apart) / 2.0 + 0.05;
    placed[i].at = (placed[i].at.0 - ux * by, placed[i].at.1 - uy * by);
    placed[j].at = (placed[j].at.0 + ux * by, placed[j].at.1 + uy * by);
    true
}

/// Writes the marks, the first on top.
pub(super) fn write(out: &mut String, placed: &[Placed<'_>]) {
    let moved = |p: &&Placed<'_>| (p.at.0 - p.true_at.0).hypot(p.at.1 - p.true_at.1) > 4.0;
    for p in placed.iter().filter(moved) {
        let ((x, y), (tx, ty)) = (p.at, p.true_at);
        let _ =
            write!(out, r#"<path class="tie" d="M{x:.1} {y:.1}L{tx:.1} {ty:.1}"/><circle class="spot" cx="{tx:.1}" cy="{ty:.1}" r="3"/>"#);
    }
    for p in placed.iter().rev() {
        let ((x, y), w) = (p.at, half_wide(&p.mark.label));
        let class = if p.mark.depot { "stop depot" } else { "stop" };
        let _ = write!(
            out,
            r#"<g class="{class}" transform="translate({x:.1} {y:.1})"><rect x="-{w}" y="-{HALF}" width="{}" height="{}" rx="2"/><text y="5">{}</text></g>"#,
            2.0 * w,
            2.0 * HALF,
            text(&p.mark.label)
        );
    }
}

/// Where roads are closed.
#[derive(Clone, Debug, PartialEq)]
pub struct Barred {
    pub at: super::Point,
    /// every road within so many metres; 0: one road, there
    pub reach_m: f64,
    /// what a screen reader says is closed
    pub name: String,
}

/// Half the height of the mark where a road is closed, with room round it.
const SIGN: f64 = 11.0;
/// The sign of a closure whose middle lies outside of the picture stands so far inside it, in pixels.
const INSIDE: f64 = 24.0;

impl Barred {
    /// Where its sign stands, in pixels: in its middle, or as near to that as the picture goes. `None` when it does not come in.
    pub(super) fn sign(&self, view: &View) -> Option<(f64, f64)> {
        let (x, y) = view.xy(self.at);
        if view.extent.holds(self.at) {
            return Some((x, y));
        }
        let inside = (x.clamp(INSIDE, view.wide - INSIDE), y.clamp(INSIDE, view.high - INSIDE));
        ((inside.0 - x).hypot(inside.1 - y) <= self.reach_m / view.metres).then_some(inside)
    }
}

/// The circle in which every road is closed, where it is larger than the sign.
pub(super) fn reach(out: &mut String, view: &View, closed: &Barred) {
    let ((x, y), r) = (view.xy(closed.at), closed.reach_m / view.metres);
    if r > SIGN {
        let _ = write!(out, r#"<circle class="reach" cx="{x:.1}" cy="{y:.1}" r="{r:.1}"/>"#);
    }
}

/// A barred mark on the road where it is closed, and the word: where there is room for it, right, left, below or above the mark.
pub(super) fn bar((x, y): (f64, f64), taken: &mut Taken) -> String {
    taken.take((x - SIGN, y - SIGN, x + SIGN, y + SIGN));
    let spots = [(39.0, 0.0), (-39.0, 0.0), (0.0, 21.0), (0.0, -21.0)];
    let frame = |s: &(f64, f64)| (x + s.0 - 26.0, y + s.1 - 9.0, x + s.0 + 26.0, y + s.1 + 9.0);
    let spot = spots.into_iter().find(|s| taken.try_take(frame(s))).unwrap_or(spots[0]);
    let (left, top) = (x - 10.0, y - 10.0);
    format!(
        r#"<g class="shut"><rect x="{left:.1}" y="{top:.1}" width="20" height="20" rx="2"/><path d="M{:.1} {:.1}l12 12m0 -12l-12 12"/><text x="{:.1}" y="{:.1}">closed</text></g>"#,
        x - 6.0,
        y - 6.0,
        x + spot.0,
        y + spot.1 + 5.0
    )
}

/// Pixels between two arrows.
const BETWEEN: f64 = 95.0;

/// Small arrows beside the line, on the right hand of who drives, so that there and back both show.
pub(super) fn arrows(line: &[Dot], view: &View) -> String {
    let mut out = String::new();
    let mut since = BETWEEN / 2.0;
    for w in line.windows(2) {
        let (dx, dy) = (f64::from(w[1].0 - w[0].0) / 10.0, f64::from(w[1].1 - w[0].1) / 10.0);
        let length = dx.hypot(dy);
        // On a short step the direction says little.
        if length < 9.0 {
            since += length;
            continue;
        }
        let (ux, uy) = (dx / length, dy / length);
        let mut along = (BETWEEN - since).max(4.0);
        while along < length - 4.0 {
            let (x, y) = (f64::from(w[0].0) / 10.0 + ux * along - uy * 7.5, f64::from(w[0].1) / 10.0 + uy * along + ux * 7.5);
            if (0.0..view.wide).contains(&x) && (0.0..view.high).contains(&y) {
                arrow(&mut out, (x, y), (ux, uy));
            }
            since = -along;
            along += BETWEEN;
        }
        since += length;
    }
    out
}

fn arrow(out: &mut String, (x, y): (f64, f64), (ux, uy): (f64, f64)) {
    let corner = |ahead: f64, aside: f64| (x + ux * ahead - uy * aside, y + uy * ahead + ux * aside);
    let (tip, left, right) = (corner(5.5, 0.0), corner(-4.0, -4.0), corner(-4.0, 4.0));
    let _ = write!(out, "M{:.1} {:.1}L{:.1} {:.1}L{:.1} {:.1}z", tip.0, tip.1, left.0, left.1, right.0, right.1);
}
