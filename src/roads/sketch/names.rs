//! Names that do not lie on one another, on a stop, or along the route.

use super::{
    super::{graph::Network, point::counted},
    view::{Dot, View, text},
    ways::{LAKE, Label},
};
use std::{
    collections::{HashMap, HashSet},
    fmt::Write,
};

/// Left, top, right, bottom in pixels.
pub(super) type Frame = (f64, f64, f64, f64);

/// Side of a cell in which a route may run, in pixels.
const CELL: f64 = 6.0;
/// Mean width of a letter, over its height.
const LETTER: f64 = 0.56;
/// The same for the heavy letters of towns.
const HEAVY: f64 = 0.64;

/// What is taken already.
pub(super) struct Taken {
    wide: f64,
    high: f64,
    frames: Vec<Frame>,
    route: HashSet<(u32, u32)>,
}

impl Taken {
    pub(super) fn new(wide: f64, high: f64) -> Self {
        Self { wide, high, frames: Vec::new(), route: HashSet::new() }
    }

    pub(super) fn take(&mut self, frame: Frame) {
        self.frames.push(frame);
    }

    /// Keeps names off a line.
    pub(super) fn line(&mut self, line: &[Dot]) {
        for w in line.windows(2) {
            let (dx, dy) = (f64::from(w[1].0 - w[0].0), f64::from(w[1].1 - w[0].1));
            let steps = counted(dx.hypot(dy) / 10.0 / CELL * 1.5).min(4_000) + 1;
            for k in 0..=steps {
                let t = f64::from(k) / f64::from(steps);
                let (x, y) = ((f64::from(w[0].0) + t * dx) / 10.0, (f64::from(w[0].1) + t * dy) / 10.0);
                if x >= 0.0 && y >= 0.0 {
                    self.route.insert((counted((x / CELL).floor()), counted((y / CELL).floor())));
                }
            }
        }
    }

    fn on_route(&self, f: Frame) -> bool {
        let cell = |v: f64| counted((v.max(0.0) / CELL).floor());
        let (left, right) = (cell(f.0), cell(f.2));
        (cell(f.1)..=cell(f.3)).any(|row| (left..=right).any(|col| self.route.contains(&(col, row))))
    }

    /// Takes a frame if it is free.
    pub(super) fn try_take(&mut self, f: Frame) -> bool {
        let inside = f.0 > 3.0 && f.1 > 3.0 && f.2 < self.wide - 3.0 && f.3 < self.high - 3.0;
        let free = |c: &Frame| f.0 >= c.2 || f.2 <= c.0 || f.1 >= c.3 || f.3 <= c.1;
        let good = inside && self.frames.iter().all(free) && !self.on_route(f);
        if good {
            self.frames.push(f);
        }
        good
    }
}

fn length(name: &str, size: f64, letter: f64) -> f64 {
    f64::from(u32::try_from(name.chars().count()).unwrap_or(u32::MAX)) * size * letter
}

/// Writes the names of towns: above their middle, else below, right or left of it.
pub(super) fn towns(out: &mut String, network: &Network, view: &View, taken: &mut Taken) {
    let mut towns: Vec<_> = network.parts().towns.iter().filter(|t| view.extent.holds(t.at)).collect();
    towns.sort_by(|a, b| (a.size, &a.name, a.at).cmp(&(b.size, &b.name, b.at)));
    for t in towns.into_iter().take(60) {
        let class = t.size as usize;
        let size = [18.0, 17.0, 15.0, 14.0][class];
        let ((x, y), half) = (view.xy(t.at), length(&t.name, size, HEAVY) / 2.0);
        let spots = [(0.0, -4.0), (0.0, size + 6.0), (half + 14.0, 5.0), (-half - 14.0, 5.0), (0.0, -26.0), (0.0, size + 28.0)];
        let frame = |s: &(f64, f64)| (x + s.0 - half, y + s.1 - size, x + s.0 + half, y + s.1 + 4.0);
        if let Some(spot) = spots.iter().find(|s| taken.try_take(frame(s))) {
            let _ = write!(out, r#"<text class="town t{class}" x="{:.0}" y="{:.0}">{}</text>"#, x + spot.0, y + spot.1, text(&t.name));
        }
    }
}

/// Writes names of waters and roads along their lines, each name a few times at most.
pub(super) fn along(out: &mut String, mut labels: Vec<Label>, taken: &mut Taken) {
    labels.sort_by(|a, b| a.rank.cmp(&b.rank).then(b.room.total_cmp(&a.room)).then_with(|| a.name.cmp(&b.name)));
    let mut seen: HashMap<String, u32> = HashMap::new();
    let mut written = 0;
    for l in labels {
        let water = l.rank < 20;
        let size = if water { 13.0 } else { 12.0 };
        let long = length(&l.name, size, LETTER);
        let most = if water { 2 } else { 1 };
        if written >= 60 || l.room < long + 8.0 || seen.get(&l.name).is_some_and(|n| *n >= most) {
            continue;
        }
        let (cos, sin) = (l.turn.to_radians().cos().abs(), l.turn.to_radians().sin().abs());
        let (half_wide, half_high) = (long / 2.0 * cos + 7.0 * sin, long / 2.0 * sin + 7.0 * cos);
        // A lake's name stands in its middle, all others a little above their line.
        let above = if l.rank == LAKE { 0.0 } else { 10.0 };
        let (x, y) = (l.at.0 + above * l.turn.to_radians().sin(), l.at.1 - above * l.turn.to_radians().cos());
        if !taken.try_take((x - half_wide, y - half_high, x + half_wide, y + half_high)) {
            continue;
        }
        *seen.entry(l.name.clone()).or_default() += 1;
        written += 1;
        let class = if water { "wet" } else { "name" };
        let turn = if l.turn.abs() < 0.5 { String::new() } else { format!("rotate({:.0})", l.turn) };
        let _ = write!(out, r#"<text class="{class}" transform="translate({x:.0} {y:.0}){turn}" y="4">{}</text>"#, text(&l.name));
    }
}
