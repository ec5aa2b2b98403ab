//! The roads and waters of the picture: what is shown at this scale, pieces of one road joined into lines, and where a name could stand.

use super::{
    super::{graph::Network, ready::Roads, speeds::Class},
    view::{Dot, View, path, simplify},
};
use std::{
    collections::{HashMap, HashSet},
    fmt::Write,
};

/// Most pieces of road in one picture, and most bytes of their paths.
const MOST_PIECES: usize = 9_000;
const MOST_BYTES: usize = 90_000;
/// Most bytes of the paths of lakes and rivers.
const MOST_WATER: usize = 30_000;
/// Points closer to the line than this are left out, in tenths of a pixel.
const FINE: f64 = 6.0;
/// Ranks of names; those of roads follow, by class.
pub(super) const LAKE: u8 = 10;
const RIVER: u8 = 11;
const ROAD: u8 = 20;
/// Classes that are drawn with an edge.
pub(super) const CASED: usize = 5;

/// A line of text that a road, lake or river could carry.
pub(super) struct Label {
    /// less is more important
    pub(super) rank: u8,
    pub(super) name: String,
    /// middle, in pixels
    pub(super) at: (f64, f64),
    /// degrees, -90 to 90
    pub(super) turn: f64,
    /// pixels that it may be long
    pub(super) room: f64,
}

/// What is drawn of the land.
#[derive(Default)]
pub(super) struct Land {
    /// by class; ramps last
    pub(super) roads: [String; 11],
    pub(super) lakes: String,
    pub(super) rivers: String,
    pub(super) labels: Vec<Label>,
}

/// The least class that is shown at so many metres to a pixel.
fn least_class(metres: f64) -> Class {
    match metres {
        m if m > 150.0 => Class::Primary,
        m if m > 80.0 => Class::Secondary,
        m if m > 40.0 => Class::Tertiary,
        m if m > 25.0 => Class::Unclassified,
        m if m > 8.0 => Class::Residential,
        _ => Class::Track,
    }
}

/// Draws the land of a view, coarser and then with a class less until it is small enough to send.
pub(super) fn land(roads: &Roads, view: &View) -> Land {
    let network = roads.network();
    let all = roads.grid().within(&view.extent);
    let mut class = least_class(view.metres) as usize;
    loop {
        let shown: Vec<u32> = all.iter().copied().filter(|e| network.edge(*e).class as usize <= class).collect();
        let last = class <= Class::Primary as usize;
        let grains: &[f64] = if shown.len() <= MOST_PIECES || last { &[1.0, 2.5, 6.0] } else { &[] };
        for grain in grains {
            let mut land = lines(network, &shown, view, FINE * grain);
            let bytes: usize = land.roads.iter().map(String::len).sum();
            if bytes <= MOST_BYTES {
                with_waters(network, view, &mut land);
                return land;
            }
        }
        if last {
            let mut land = Land::default();
            with_waters(network, view, &mut land);
            return land;
        }
        class -= 1;
    }
}

/// Pieces that may be one line: they meet, and have class, kind and name in common.
type Joint = (u32, u8, bool, u32);

struct Joints<'a> {
    network: &'a Network,
    /// the two pieces that meet; more than two are no joint
    at: HashMap<Joint, (u32, Option<u32>, bool)>,
}

impl<'a> Joints<'a> {
    fn new(network: &'a Network, pieces: &[u32]) -> Self {
        let mut joints = Self { network, at: HashMap::with_capacity(pieces.len() * 2) };
        for &e in pieces {
            let edge = network.edge(e);
            for junction in [edge.a, edge.b] {
                let key = joints.key(e, junction);
                joints
                    .at
                    .entry(key)
                    .and_modify(|known| *known = if known.1.is_none() { (known.0, Some(e), true) } else { (known.0, known.1, false) })
                    .or_insert((e, None, true));
            }
        }
        joints
    }

    fn key(&self, e: u32, junction: u32) -> Joint {
        let edge = self.network.edge(e);
        (junction, edge.class as u8, edge.link, edge.name)
    }

    fn next(&self, e: u32, junction: u32) -> Option<u32> {
        let (a, b, two) = self.at.get(&self.key(e, junction))?;
        let other = if *a == e { *b } else { Some(*a) };
        other.filter(|o| *two && *o != e)
    }

    /// Follows a line from a piece's junction, taking pieces not yet used. Gives points in the order of the walk.
    fn walk(&self, from: u32, junction: u32, used: &mut HashSet<u32>, out: &mut Vec<super::Point>) {
        let (mut e, mut junction) = (from, junction);
        while let Some(next) = self.next(e, junction).filter(|n| used.insert(*n)) {
            let (edge, shape) = (self.network.edge(next), self.network.shape(next));
            if edge.a == junction {
                out.extend(&shape[1..]);
                junction = edge.b;
            } else {
                out.extend(shape[..shape.len() - 1].iter().rev());
                junction = edge.a;
            }
            e = next;
        }
    }
}

fn lines(network: &Network, pieces: &[u32], view: &View, most: f64) -> Land {
    let joints = Joints::new(network, pieces);
    let mut used = HashSet::with_capacity(pieces.len());
    let mut land = Land::default();
    for &e in pieces {
        if !used.insert(e) {
            continue;
        }
        let edge = network.edge(e);
        let mut line = Vec::new();
        joints.walk(e, edge.a, &mut used, &mut line);
        line.reverse();
        line.extend(network.shape(e));
        joints.walk(e, edge.b, &mut used, &mut line);
        let kind = if edge.link { 10 } else { edge.class as usize };
        for stretch in view.clip(&view.dots(&line)) {
            let fine = simplify(&stretch, most);
            let short = fine.len() == 2 && fine[0].0.abs_diff(fine[1].0) + fine[0].1.abs_diff(fine[1].1) < 12;
            if short && edge.class > Class::Tertiary {
                continue;
            }
            path(&mut land.roads[kind], &fine);
            if edge.class <= Class::Residential && !edge.link && edge.name > 0 {
                land.labels.extend(label(edge.class as u8 + ROAD, network.name(e), &fine));
            }
        }
    }
    land
}

/// A name along the longest straight stretch.
fn label(rank: u8, name: &str, line: &[Dot]) -> Option<Label> {
    let step = |w: &[Dot]| (f64::from(w[1].0 - w[0].0) / 10.0, f64::from(w[1].1 - w[0].1) / 10.0);
    let length = |w: &[Dot]| step(w).0.hypot(step(w).1);
    let best = line.windows(2).max_by(|a, b| length(a).total_cmp(&length(b)))?;
    let (dx, dy) = step(best);
    let turn = dy.atan2(dx).to_degrees();
    let turn = if turn > 90.0 {
        turn - 180.0
    } else if turn < -90.0 {
        turn + 180.0
    } else {
        turn
    };
    let at = (f64::from(best[0].0 + best[1].0) / 20.0, f64::from(best[0].1 + best[1].1) / 20.0);
    Some(Label { rank, name: name.to_owned(), at, turn, room: length(best) })
}

/// Adds lakes and rivers, as fine as they can be sent.
fn with_waters(network: &Network, view: &View, land: &mut Land) {
    for most in [8.0, 24.0, 80.0] {
        let mut wet = Land::default();
        waters(network, view, &mut wet, most);
        if wet.lakes.len() + wet.rivers.len() <= MOST_WATER || most > 50.0 {
            (land.lakes, land.rivers) = (wet.lakes, wet.rivers);
            land.labels.extend(wet.labels);
            return;
        }
    }
}

fn waters(network: &Network, view: &View, land: &mut Land, most: f64) {
    for water in &network.parts().waters {
        let Some(extent) = super::Extent::of(water.line.iter().copied()).filter(|e| e.meets(&view.extent)) else { continue };
        let dots = view.dots(&water.line);
        if water.is_lake() {
            let fine = simplify(&dots[..dots.len() - 1], most);
            if fine.len() < 3 {
                continue;
            }
            path(&mut land.lakes, &fine);
            land.lakes.push('z');
            let middle = super::Point::near(
                f64::midpoint(f64::from(extent.south), f64::from(extent.north)),
                f64::midpoint(f64::from(extent.west), f64::from(extent.east)),
            );
            let wide = dots.iter().map(|d| d.0).max().unwrap_or(0) - dots.iter().map(|d| d.0).min().unwrap_or(0);
            if !water.name.is_empty() {
                let room = f64::from(wide) / 10.0 + 30.0;
                land.labels.push(Label { rank: LAKE, name: water.name.clone(), at: view.xy(middle), turn: 0.0, room });
            }
        } else {
            for stretch in view.clip(&dots) {
                let fine = simplify(&stretch, most);
                path(&mut land.rivers, &fine);
                if !water.name.is_empty() {
                    land.labels.extend(label(RIVER, &water.name, &simplify(&stretch, 60.0)));
                }
            }
        }
    }
}

/// Writes lakes, rivers, small roads, ramps and then the larger roads with their edges. `id` keeps the names of shapes apart from another picture's.
pub(super) fn write(out: &mut String, land: &Land, id: &str) {
    for (class, d) in [("lake", &land.lakes), ("river", &land.rivers)] {
        if !d.is_empty() {
            let _ = write!(out, r#"<path class="{class}" d="{d}"/>"#);
        }
    }
    for (kind, d) in land.roads.iter().enumerate().skip(CASED).rev().filter(|r| !r.1.is_empty()) {
        if kind == 10 {
            let _ = write!(out, r#"<path class="ramp" d="{d}"/>"#);
        } else {
            let _ = write!(out, r#"<path class="way w{kind}" d="{d}"/>"#);
        }
    }
    let cased: Vec<(usize, &String)> = land.roads.iter().enumerate().take(CASED).filter(|r| !r.1.is_empty()).collect();
    if cased.is_empty() {
        return;
    }
    out.push_str("<defs>");
    for (kind, d) in &cased {
        let _ = write!(out, r#"<path id="{id}-w{kind}" d="{d}"/>"#);
    }
    out.push_str("</defs>");
    for layer in ["edge", "way"] {
        for (kind, _) in cased.iter().rev() {
            let _ = write!(out, r##"<use class="{layer} w{kind}" href="#{id}-w{kind}"/>"##);
        }
    }
}
