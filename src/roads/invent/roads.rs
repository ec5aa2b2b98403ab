//! The roads of an invented county.

use super::{
    Position, Size,
    land::{Crossing, Land, miles},
    names,
};
use crate::roads::straight::MILE_M;
use std::{collections::HashMap, f64::consts::TAU};

/// How important the road along a section line is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Rank {
    Section,
    Township,
    County,
    State,
}

impl Rank {
    fn of(line: usize) -> Self {
        match line {
            l if l % 24 == 0 => Self::State,
            l if l % 12 == 0 => Self::County,
            l if l % 6 == 0 => Self::Township,
            _ => Self::Section,
        }
    }

    fn highway(self) -> &'static str {
        match self {
            Self::Section => "unclassified",
            Self::Township => "tertiary",
            Self::County => "secondary",
            Self::State => "primary",
        }
    }
}

/// One mile of road between two crossings.
struct Mile {
    from: Crossing,
    to: Crossing,
    east_west: bool,
    rank: Rank,
    name: String,
    /// house numbers here begin with this
    hundred: usize,
}

impl Land {
    /// Roads along the section lines; some are missing, and few of the small ones have a bridge.
    pub(super) fn section_roads(&mut self) {
        for j in 0..=self.high {
            for i in 0..=self.wide {
                for east_west in [true, false] {
                    let (i2, j2) = if east_west { (i + 1, j) } else { (i, j + 1) };
                    if i2 > self.wide || j2 > self.high {
                        continue;
                    }
                    let (line, hundred) = if east_west { (j, i) } else { (i, j) };
                    let mile = Mile {
                        from: self.crossing(i, j),
                        to: self.crossing(i2, j2),
                        east_west,
                        rank: Rank::of(line),
                        name: names::road(line, east_west),
                        hundred: 100 * (hundred + 1),
                    };
                    self.mile(&mile);
                }
            }
        }
    }

    fn mile(&mut self, mile: &Mile) {
        let (Some(first), Some(last)) = (mile.from.node, mile.to.node) else { return };
        let small = mile.rank == Rank::Section;
        let no_bridge = self.crosses_river(mile.from, mile.to) && self.chance.happens(0.8);
        if small && (no_bridge || self.chance.happens(0.16)) {
            return;
        }
        let winding = small && self.chance.happens(0.35);
        let swing = if winding { self.chance.between(40.0, 250.0) } else { self.chance.between(0.0, 12.0) };
        let lanes = if mile.rank == Rank::State { 1 } else { 2 + usize::from(self.chance.happens(0.5)) };
        let bends = if winding { 13 } else { 3 };
        let mut along: Vec<(f64, bool)> = (1..bends).map(|k| (f64::from(k) / f64::from(bends), false)).collect();
        along.extend((0..lanes).map(|_| (self.chance.between(0.05, 0.95), true)));
        along.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut refs = vec![first];
        let mut gates = Vec::new();
        for (t, lane) in along {
            let (x, y) = mile.at(t, swing);
            if self.in_lake(x, y) {
                if small {
                    return;
                }
                // A larger road crosses the water on a causeway.
                continue;
            }
            let id = self.node(x, y);
            refs.push(id);
            if lane {
                gates.push((id, x, y, t));
            }
        }
        refs.push(last);
        self.pave(mile, refs);
        for gate in gates {
            self.farm_lane(mile, gate);
        }
    }

    fn pave(&mut self, mile: &Mile, refs: Vec<i64>) {
        let mut tags = vec![("highway", mile.rank.highway()), ("name", mile.name.as_str())];
        if mile.rank != Rank::Section {
            tags.push(("maxspeed", "55 mph"));
        } else if self.chance.happens(0.4) {
            tags.push(("surface", "gravel"));
        }
        self.way(refs, &tags);
    }

    /// A lane off the road, private now and then, with a house at its end.
    fn farm_lane(&mut self, mile: &Mile, (gate, x, y, t): (i64, f64, f64, f64)) {
        let side = if self.chance.happens(0.5) { 1.0 } else { -1.0 };
        let (out, bend) = (self.chance.between(30.0, 350.0) * side, self.chance.between(-60.0, 60.0));
        let (middle, end) =
            if mile.east_west { ((x + bend, y + out / 2.0), (x, y + out)) } else { ((x + out / 2.0, y + bend), (x + out, y)) };
        if self.in_lake(middle.0, middle.1) || self.in_lake(end.0, end.1) {
            return;
        }
        let (middle, house) = (self.node(middle.0, middle.1), self.node(end.0, end.1));
        // Odd numbers on one side, rising along the road.
        let number = mile.hundred + 2 * super::super::point::counted(t * 49.0) as usize + usize::from(side > 0.0);
        self.tag(house, "addr:housenumber", &number.to_string());
        self.tag(house, "addr:street", &mile.name);
        let private = self.chance.happens(0.2);
        let tags = [("highway", "service"), ("service", "driveway"), ("access", "private")];
        self.way(vec![gate, middle, house], if private { &tags } else { &tags[..2] });
    }

    /// Towns at crossings: a small grid of streets, joined to the section roads.
    pub(super) fn towns(&mut self, wanted: &[(String, Position, Size)]) {
        let mut spots: Vec<(String, usize, usize, Size)> = Vec::new();
        for (name, at, size) in wanted {
            let (x, y) = self.flat(*at);
            let nearest = |d: f64, n: usize| (super::super::point::counted(d / MILE_M) as usize).clamp(1, n - 1);
            spots.push((name.clone(), nearest(x, self.wide), nearest(y, self.high), *size));
        }
        if wanted.is_empty() {
            for j in (4..self.high).step_by(6) {
                for i in (3..self.wide).step_by(6) {
                    let size = if i % 24 == 3 && j % 24 == 4 { Size::Town } else { Size::Village };
                    if size == Size::Town || self.chance.happens(0.4) {
                        spots.push((names::town(spots.len()), i, j, size));
                    }
                }
            }
        }
        for (name, i, j, size) in spots {
            let crossing = self.crossing(i, j);
            if let Some(node) = crossing.node {
                self.town(&name, crossing, node, size);
            }
        }
    }

    fn town(&mut self, name: &str, at: Crossing, crossing: i64, size: Size) {
        let half: i32 = if size <= Size::Town { 5 } else { 2 };
        let block = 110.0;
        let mut corners = HashMap::from([((0, 0), crossing)]);
        for v in -half..=half {
            for u in -half..=half {
                let (x, y) = (at.x + f64::from(u) * block, at.y + f64::from(v) * block);
                if (u, v) != (0, 0) && !self.in_lake(x, y) {
                    corners.insert((u, v), self.node(x, y));
                }
            }
        }
        for v in -half..=half {
            for u in -half..=half {
                for (du, dv) in [(1, 0), (0, 1)] {
                    let ends = corners.get(&(u, v)).zip(corners.get(&(u + du, v + dv)));
                    let Some((a, b)) = ends.map(|(a, b)| (*a, *b)).filter(|_| self.chance.happens(0.93)) else { continue };
                    let street = if du == 1 { format!("{} Street", v + half + 1) } else { format!("{} Avenue", u + half + 1) };
                    self.way(vec![a, b], &[("highway", "residential"), ("name", &street), ("maxspeed", "25 mph")]);
                }
            }
        }
        let sign = self.node(at.x + 30.0, at.y + 30.0);
        let place = match size {
            Size::City => "city",
            Size::Town => "town",
            Size::Village => "village",
            Size::Hamlet => "hamlet",
        };
        self.tag(sign, "place", place);
        self.tag(sign, "name", name);
    }

    /// A dual carriageway from west to east, with ramps at every sixth section line.
    pub(super) fn carriageway(&mut self) {
        let line = self.high / 2;
        let middle = miles(line) + 0.45 * MILE_M;
        let y = |x: f64| middle + 260.0 * (x / (9.0 * MILE_M)).sin();
        let xs: Vec<f64> = (0..=self.wide * 2).map(|i| miles(i) / 2.0).collect();
        let east: Vec<i64> = xs.iter().map(|x| self.node(*x, y(*x) - 15.0)).collect();
        let west: Vec<i64> = xs.iter().map(|x| self.node(*x, y(*x) + 15.0)).collect();
        let ramp = [("highway", "motorway_link"), ("oneway", "yes")];
        for i in (3..self.wide).step_by(6) {
            for j in [line, line + 1] {
                let Some(node) = self.crossing(i, j).node else { continue };
                for ends in [[east[2 * i - 1], node], [node, east[2 * i + 1]], [west[2 * i + 1], node], [node, west[2 * i - 1]]] {
                    self.way(ends.to_vec(), &ramp);
                }
            }
        }
        let road = [("highway", "motorway"), ("oneway", "yes"), ("name", "Midcounty Carriageway"), ("maxspeed", "70 mph")];
        self.way(east, &road);
        self.way(west.into_iter().rev().collect(), &road);
    }
}

impl Mile {
    /// A share `t` of the way along, with a swing to the side in metres.
    fn at(&self, t: f64, swing: f64) -> (f64, f64) {
        let aside = swing * (t * TAU).sin();
        let (x, y) = (self.from.x + t * (self.to.x - self.from.x), self.from.y + t * (self.to.y - self.from.y));
        if self.east_west { (x, y + aside) } else { (x + aside, y) }
    }
}
