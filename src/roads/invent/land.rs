//! The ground of an invented county: waters, crossings of section lines, and the lists that become the file.

use super::{
    County, Plane,
    chance::Chance,
    names,
    write::{NodeOut, WayOut},
};
use crate::roads::straight::MILE_M;
use std::f64::consts::TAU;

/// An ellipse along the axes, in metres.
struct Lake {
    x: f64,
    y: f64,
    half_wide: f64,
    half_high: f64,
}

/// A sine from west to east, in metres.
struct River {
    y: f64,
    swing: f64,
    length: f64,
    shift: f64,
}

impl River {
    fn y(&self, x: f64) -> f64 {
        self.y + self.swing * (x / self.length + self.shift).sin()
    }
}

/// Where two section lines cross; without a node in a lake.
#[derive(Clone, Copy, Debug)]
pub(super) struct Crossing {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) node: Option<i64>,
}

pub(super) struct Land {
    plane: Plane,
    pub(super) chance: Chance,
    /// sections from west to east, and from south to north
    pub(super) wide: usize,
    pub(super) high: usize,
    pub(super) nodes: Vec<NodeOut>,
    pub(super) ways: Vec<WayOut>,
    lakes: Vec<Lake>,
    /// lakes that touch each section
    lakes_of: Vec<Vec<usize>>,
    rivers: Vec<River>,
    crossings: Vec<Crossing>,
}

/// A count as a length in sections.
pub(super) fn miles(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX)) * MILE_M
}

impl Land {
    pub(super) fn new(county: &County) -> Self {
        let county = County { wide: county.wide.clamp(4, 400), high: county.high.clamp(4, 400), ..county.clone() };
        Self {
            plane: Plane::new(&county),
            chance: Chance::new(county.seed),
            wide: usize::from(county.wide),
            high: usize::from(county.high),
            nodes: Vec::new(),
            ways: Vec::new(),
            lakes: Vec::new(),
            lakes_of: Vec::new(),
            rivers: Vec::new(),
            crossings: Vec::new(),
        }
    }

    pub(super) fn flat(&self, p: super::Position) -> (f64, f64) {
        self.plane.flat(p)
    }

    pub(super) fn node(&mut self, x: f64, y: f64) -> i64 {
        let id = i64::try_from(self.nodes.len()).unwrap_or(0) + 1;
        self.nodes.push(NodeOut::new(id, self.plane.point(x, y)));
        id
    }

    pub(super) fn tag(&mut self, node: i64, key: &str, value: &str) {
        let node = usize::try_from(node - 1).ok().and_then(|i| self.nodes.get_mut(i));
        if let Some(node) = node {
            node.tags.push((key.to_owned(), value.to_owned()));
        }
    }

    pub(super) fn way(&mut self, refs: Vec<i64>, tags: &[(&str, &str)]) {
        if refs.len() > 1 {
            let id = i64::try_from(self.ways.len()).unwrap_or(0) + 1;
            let tags = tags.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect();
            self.ways.push(WayOut { id, refs, tags });
        }
    }

    fn section(&self, x: f64, y: f64) -> usize {
        let of = |d: f64, n: usize| super::super::point::counted((d / MILE_M - 0.5).clamp(0.0, 1e6)).min(u32::try_from(n).unwrap_or(0));
        of(y, self.high) as usize * (self.wide + 1) + of(x, self.wide) as usize
    }

    pub(super) fn in_lake(&self, x: f64, y: f64) -> bool {
        let inside = |l: &Lake| ((x - l.x) / l.half_wide).powi(2) + ((y - l.y) / l.half_high).powi(2) < 1.0;
        self.lakes_of.get(self.section(x, y)).is_some_and(|near| near.iter().any(|i| inside(&self.lakes[*i])))
    }

    /// Whether a river lies between two points.
    pub(super) fn crosses_river(&self, a: Crossing, b: Crossing) -> bool {
        self.rivers.iter().any(|r| (a.y > r.y(a.x)) != (b.y > r.y(b.x)))
    }

    /// Lakes and rivers, with their names.
    pub(super) fn waters(&mut self) {
        self.lakes_of = vec![Vec::new(); (self.wide + 1) * (self.high + 1)];
        for n in 0..=self.wide * self.high / 90 {
            let c = &mut self.chance;
            let (x, y) = (c.share() * miles(self.wide), c.share() * miles(self.high));
            let lake = Lake { x, y, half_wide: c.between(300.0, 2_200.0), half_high: c.between(300.0, 2_200.0) };
            let mut shore: Vec<i64> = Vec::new();
            for k in 0..28 {
                let turn = f64::from(k) / 28.0 * TAU;
                // Not quite an ellipse, and always inside it, so that roads stay dry.
                let wobble = 1.0 - 0.12 * self.chance.share();
                shore.push(self.node(lake.x + lake.half_wide * wobble * turn.cos(), lake.y + lake.half_high * wobble * turn.sin()));
            }
            shore.extend(shore.first().copied());
            self.way(shore, &[("natural", "water"), ("name", &names::lake(n))]);
            let mut x = lake.x - lake.half_wide;
            while x < lake.x + lake.half_wide + MILE_M {
                let mut y = lake.y - lake.half_high;
                while y < lake.y + lake.half_high + MILE_M {
                    let section = self.section(x, y);
                    self.lakes_of[section].push(self.lakes.len());
                    y += MILE_M / 2.0;
                }
                x += MILE_M / 2.0;
            }
            self.lakes.push(lake);
        }
        for near in &mut self.lakes_of {
            near.dedup();
        }
        let rivers = (self.high / 20).max(1);
        for n in 0..rivers {
            let c = &mut self.chance;
            let middle = (miles(n) + MILE_M / 2.0) * miles(self.high) / miles(rivers) + c.between(-800.0, 800.0);
            let river =
                River { y: middle, swing: c.between(900.0, 3_500.0), length: c.between(2.0, 5.0) * MILE_M, shift: c.between(0.0, 6.0) };
            let course: Vec<(f64, f64)> = (0..=self.wide * 6).map(|i| miles(i) / 6.0).map(|x| (x, river.y(x))).collect();
            let refs = course.into_iter().map(|(x, y)| self.node(x, y)).collect();
            self.way(refs, &[("waterway", "river"), ("name", &names::river(n))]);
            self.rivers.push(river);
        }
    }

    /// Crossings of the section lines, each a little off the true line.
    pub(super) fn crossings(&mut self) {
        for j in 0..=self.high {
            for i in 0..=self.wide {
                let (x, y) = (miles(i) + self.chance.between(-60.0, 60.0), miles(j) + self.chance.between(-60.0, 60.0));
                let node = (!self.in_lake(x, y)).then(|| self.node(x, y));
                self.crossings.push(Crossing { x, y, node });
            }
        }
    }

    pub(super) fn crossing(&self, i: usize, j: usize) -> Crossing {
        self.crossings[j.min(self.high) * (self.wide + 1) + i.min(self.wide)]
    }
}
