//! The road network: junctions, the pieces of road between them, their shapes and names; and what a drawing shows besides.

use super::{
    cost::Cost,
    point::{Extent, LONGEST, Point, index},
    speeds::Class,
};

/// No drive that way.
pub(super) const NO: u32 = u32::MAX;
/// Longest time for one piece of road: eleven days, so that sums are far from what a number holds.
pub(super) const LONGEST_MS: u32 = 1_000_000_000;

/// A piece of road between two junctions, with nothing to choose in between.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edge {
    /// junction where its shape begins
    pub a: u32,
    /// junction where its shape ends
    pub b: u32,
    /// milliseconds from `a` to `b`, at most eleven days; `None` = not that way
    pub forward_ms: Option<u32>,
    pub backward_ms: Option<u32>,
    /// decimetres along its shape
    pub dm: u32,
    /// where its points begin in the network's list of them
    pub shape: u32,
    /// its name, in the network's list of names; 0 is no name
    pub name: u32,
    pub class: Class,
    /// a ramp
    pub link: bool,
    /// a private road or lane
    pub private: bool,
}

/// How a town is written on the map.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum Size {
    City,
    Town,
    Village,
    Hamlet,
}

impl Size {
    pub(super) const ALL: [Self; 4] = [Self::City, Self::Town, Self::Village, Self::Hamlet];

    pub(super) fn parse(place: &str) -> Option<Self> {
        Some(match place {
            "city" => Self::City,
            "town" => Self::Town,
            "village" => Self::Village,
            "hamlet" => Self::Hamlet,
            _ => return None,
        })
    }
}

/// A named town.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Town {
    pub at: Point,
    pub size: Size,
    pub name: String,
}

/// A house number on a street.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct House {
    pub at: Point,
    /// as it is written, "12a"
    pub number: String,
    pub street: String,
    /// town or post code, where the map has it
    pub town: String,
}

/// A lake (its shore comes back to its first point) or a river.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Water {
    pub name: String,
    pub line: Vec<Point>,
}

impl Water {
    pub fn is_lake(&self) -> bool {
        self.line.len() > 3 && self.line.first() == self.line.last()
    }
}

/// Where the roads come from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Origin {
    /// The day of the data, in seconds since 1970.
    pub data_of: Option<i64>,
    /// Made up by this program: nobody's data.
    pub invented: bool,
}

impl Origin {
    /// What must stand beside every drawing and every address from these roads.
    pub fn credit(&self) -> &'static str {
        if self.invented { "invented roads" } else { "© OpenStreetMap contributors" }
    }
}

/// All that a network is made of, before it is looked over.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Parts {
    pub nodes: Vec<Point>,
    /// in the order of their shapes
    pub edges: Vec<Edge>,
    pub shape: Vec<Point>,
    /// the first is empty
    pub names: Vec<String>,
    pub towns: Vec<Town>,
    pub houses: Vec<House>,
    pub waters: Vec<Water>,
    pub origin: Origin,
}

/// Parts that do not fit together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the road network does not fit together: {0}")]
pub struct Misfit(pub &'static str);

/// Out of a junction along a piece of road.
#[derive(Clone, Copy, Debug)]
pub(super) struct Arc {
    pub(super) head: u32,
    pub(super) cost: Cost,
    /// twice the edge's place, and one more when it is driven backward
    pub(super) edge: u32,
}

/// Arcs by the junction they leave.
#[derive(Clone, Debug)]
pub(super) struct Arcs {
    first: Vec<u32>,
    list: Vec<Arc>,
}

impl Arcs {
    pub(super) fn of(nodes: usize, edges: &[Edge]) -> Self {
        let mut first = vec![0_u32; nodes + 1];
        for e in edges {
            first[e.a as usize + 1] += u32::from(e.forward_ms.is_some());
            first[e.b as usize + 1] += u32::from(e.backward_ms.is_some());
        }
        for v in 0..nodes {
            first[v + 1] += first[v];
        }
        let mut at = first.clone();
        let mut list = vec![Arc { head: 0, cost: Cost::ZERO, edge: 0 }; first[nodes] as usize];
        for (i, e) in edges.iter().enumerate() {
            for (tail, head, ms, back) in [(e.a, e.b, e.forward_ms, 0), (e.b, e.a, e.backward_ms, 1)] {
                let Some(ms) = ms else { continue };
                let place = &mut at[tail as usize];
                list[*place as usize] = Arc { head, cost: Cost::new(ms, e.dm), edge: (index(i) << 1) | back };
                *place += 1;
            }
        }
        Self { first, list }
    }

    #[inline]
    pub(super) fn out(&self, v: u32) -> &[Arc] {
        &self.list[self.first[v as usize] as usize..self.first[v as usize + 1] as usize]
    }

    pub(super) fn len(&self) -> usize {
        self.first.len() - 1
    }
}

/// Roads that can be driven, drawn and looked up. Every number in it has been looked over: nothing points beyond a list.
#[derive(Clone, Debug)]
pub struct Network {
    parts: Parts,
    arcs: Arcs,
}

impl Network {
    /// Looks the parts over.
    ///
    /// # Errors
    /// [`Misfit`] when something points beyond a list, a piece has no shape, or takes longer than is allowed.
    pub fn new(parts: Parts) -> Result<Self, Misfit> {
        look_over(&parts)?;
        let arcs = Arcs::of(parts.nodes.len(), &parts.edges);
        Ok(Self { parts, arcs })
    }

    pub fn parts(&self) -> &Parts {
        &self.parts
    }

    pub fn edges(&self) -> &[Edge] {
        &self.parts.edges
    }

    pub(super) fn edge(&self, i: u32) -> &Edge {
        &self.parts.edges[i as usize]
    }

    pub(super) fn arcs(&self) -> &Arcs {
        &self.arcs
    }

    /// The points of a piece, two or more, from its junction `a` to `b`.
    pub fn shape(&self, edge: u32) -> &[Point] {
        shape(&self.parts.edges, &self.parts.shape, edge as usize)
    }

    /// The piece's name; empty when it has none.
    pub fn name(&self, edge: u32) -> &str {
        &self.parts.names[self.edge(edge).name as usize]
    }

    /// The box round all roads; `None` when there are none.
    pub fn extent(&self) -> Option<Extent> {
        Extent::of(self.parts.shape.iter().copied())
    }

    /// Kilometres of road by class, in the order of [`Class::ALL`].
    pub fn km(&self) -> [f64; 10] {
        km(&self.parts.edges)
    }

    /// Bytes of memory, the text left out.
    pub fn bytes(&self) -> usize {
        let p = &self.parts;
        size_of_val(&p.nodes[..])
            + size_of_val(&p.edges[..])
            + size_of_val(&p.shape[..])
            + size_of_val(&self.arcs.first[..])
            + size_of_val(&self.arcs.list[..])
    }
}

pub(super) fn km(edges: &[Edge]) -> [f64; 10] {
    let mut km = [0.0; 10];
    for e in edges {
        km[e.class as usize] += f64::from(e.dm) / 10_000.0;
    }
    km
}

/// The points of the `i`-th edge: up to where the next one's begin.
pub(super) fn shape<'a>(edges: &[Edge], points: &'a [Point], i: usize) -> &'a [Point] {
    let end = edges.get(i + 1).map_or(points.len(), |e| e.shape as usize);
    &points[edges[i].shape as usize..end]
}

fn look_over(p: &Parts) -> Result<(), Misfit> {
    if p.nodes.len() > LONGEST || p.edges.len() > LONGEST || p.shape.len() > LONGEST {
        return Err(Misfit("there are more roads than one file can hold; take a smaller extract"));
    }
    if p.names.first().is_none_or(|n| !n.is_empty()) {
        return Err(Misfit("the list of names does not begin with the empty one"));
    }
    let mut begins = 0;
    for (i, e) in p.edges.iter().enumerate() {
        if e.a as usize >= p.nodes.len() || e.b as usize >= p.nodes.len() {
            return Err(Misfit("a piece of road ends at a junction that is not there"));
        }
        if e.name as usize >= p.names.len() {
            return Err(Misfit("a piece of road has a name that is not there"));
        }
        let ends = p.edges.get(i + 1).map_or(p.shape.len(), |next| next.shape as usize);
        if e.shape as usize != begins || ends < begins + 2 || ends > p.shape.len() {
            return Err(Misfit("a piece of road has no shape"));
        }
        if p.shape[begins] != p.nodes[e.a as usize] || p.shape[ends - 1] != p.nodes[e.b as usize] {
            return Err(Misfit("a piece of road does not reach its junctions"));
        }
        let good = |ms: Option<u32>| ms.is_none_or(|ms| (1..=LONGEST_MS).contains(&ms));
        if !good(e.forward_ms) || !good(e.backward_ms) {
            return Err(Misfit("a piece of road takes no time, or too long"));
        }
        begins = ends;
    }
    if begins == p.shape.len() { Ok(()) } else { Err(Misfit("points are left over")) }
}
