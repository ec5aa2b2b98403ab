//! Costs between all stops at once: each stop's search goes up the hierarchy only, and the searches meet in buckets.
//!
//! Source: Knopp, Sanders, Schultes, Schulz and Wagner, "Computing Many-to-Many Shortest Paths Using Highway Hierarchies", ALENEX 2007.

use super::{
    contract::{Hierarchy, Links},
    cost::Cost,
    ends::{along, entries, exits},
    graph::Network,
    plain::{Heap, Plain},
    point::index,
    snap::Snap,
};

/// Costs from stops to stops.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Costs {
    width: usize,
    all: Vec<Cost>,
}

impl Costs {
    /// From the `i`-th of the first stops to the `j`-th of the others.
    pub fn at(&self, i: usize, j: usize) -> Cost {
        self.all[i * self.width + j]
    }

    /// Row by row.
    pub fn all(&self) -> &[Cost] {
        &self.all
    }
}

/// Room for one search after another up the hierarchy.
struct Climb {
    best: Vec<Cost>,
    touched: Vec<u32>,
    heap: Heap,
    /// junctions reached for good
    hit: Vec<(u32, Cost)>,
}

impl Climb {
    fn new(junctions: usize) -> Self {
        Self { best: vec![Cost::NEVER; junctions], touched: Vec::new(), heap: Heap::default(), hit: Vec::new() }
    }

    fn reach(&mut self, v: u32, cost: Cost) {
        let known = self.best[v as usize];
        if cost >= known {
            return;
        }
        if known == Cost::NEVER {
            self.touched.push(v);
        }
        self.best[v as usize] = cost;
        self.heap.push(cost.ms(), v);
    }

    /// Along `links`; a junction to which a more important one already reached leads quicker is passed over (`against` are the links the other way).
    fn run(&mut self, links: &Links, against: &Links, starts: impl Iterator<Item = (u32, Cost)>) {
        for v in self.touched.drain(..) {
            self.best[v as usize] = Cost::NEVER;
        }
        self.heap.clear();
        self.hit.clear();
        for (v, cost) in starts {
            self.reach(v, cost);
        }
        while let Some((ms, v)) = self.heap.pop() {
            let cost = self.best[v as usize];
            // A second entry of the same time says nothing new.
            if ms != cost.ms() || self.hit.last() == Some(&(v, cost)) {
                continue;
            }
            if against.of(v).any(|(w, c)| self.best[w as usize].plus(c) < cost) {
                continue;
            }
            self.hit.push((v, cost));
            for (w, c) in links.of(v) {
                self.reach(w, cost.plus(c));
            }
        }
    }
}

/// What each junction knows of the stops beyond it.
struct Buckets {
    first: Vec<u32>,
    stops: Vec<u32>,
    costs: Vec<Cost>,
}

impl Buckets {
    fn new(junctions: usize, mut items: Vec<(u32, u32, Cost)>) -> Self {
        items.sort_unstable();
        let mut first = vec![0_u32; junctions + 1];
        for item in &items {
            first[item.0 as usize + 1] += 1;
        }
        for v in 0..junctions {
            first[v + 1] += first[v];
        }
        Self { first, stops: items.iter().map(|i| i.1).collect(), costs: items.iter().map(|i| i.2).collect() }
    }

    /// Meets a search that reached `v`.
    #[inline]
    fn meet(&self, v: u32, cost: Cost, row: &mut [Cost]) {
        let range = self.first[v as usize] as usize..self.first[v as usize + 1] as usize;
        for (stop, beyond) in self.stops[range.clone()].iter().zip(&self.costs[range]) {
            let cell = &mut row[*stop as usize];
            *cell = (*cell).min(cost.plus(*beyond));
        }
    }
}

/// How many threads many stops are worth.
fn threads(stops: usize) -> usize {
    if stops < 64 { 1 } else { std::thread::available_parallelism().map_or(1, std::num::NonZero::get).min(8) }
}

/// Costs from each of the first stops to each of the others, on all processors. Equal to [`plainly`] in every cell.
pub fn between(network: &Network, hierarchy: &Hierarchy, from: &[Snap], to: &[Snap]) -> Costs {
    let n = hierarchy.junctions();
    let mut all = vec![Cost::NEVER; from.len() * to.len()];
    if all.is_empty() {
        return Costs { width: to.len(), all };
    }
    let threads = threads(from.len().max(to.len()));
    let below = |part: &[(u32, Snap)]| {
        let mut climb = Climb::new(n);
        let mut items = Vec::new();
        for (stop, snap) in part {
            climb.run(&hierarchy.down, &hierarchy.up, entries(network, snap).map(|(v, c)| (hierarchy.place(v), c)));
            items.extend(climb.hit.iter().map(|(v, cost)| (*v, *stop, *cost)));
        }
        items
    };
    let stops: Vec<(u32, Snap)> = (0..index(to.len())).zip(to.iter().copied()).collect();
    let parts: Vec<&[(u32, Snap)]> = stops.chunks(stops.len().div_ceil(threads)).collect();
    let buckets = Buckets::new(n, in_parallel(parts, below).concat());
    let rows = |(from, rows): (&[Snap], &mut [Cost])| {
        let mut climb = Climb::new(n);
        for (snap, row) in from.iter().zip(rows.chunks_mut(to.len())) {
            climb.run(&hierarchy.up, &hierarchy.down, exits(network, snap).map(|(v, c)| (hierarchy.place(v), c)));
            for &(v, cost) in &climb.hit {
                buckets.meet(v, cost, row);
            }
            for (cell, stop) in row.iter_mut().zip(to) {
                *cell = (*cell).min(along(network, snap, stop));
            }
        }
    };
    let high = from.len().div_ceil(threads);
    in_parallel(from.chunks(high).zip(all.chunks_mut(high * to.len())).collect(), rows);
    Costs { width: to.len(), all }
}

/// One thread a piece of work; the last piece is done here. Results in the order of the work.
fn in_parallel<W: Send, T: Send>(mut work: Vec<W>, one: impl Fn(W) -> T + Sync) -> Vec<T> {
    let Some(last) = work.pop() else { return Vec::new() };
    std::thread::scope(|scope| {
        let one = &one;
        let others: Vec<_> = work.into_iter().map(|w| scope.spawn(move || one(w))).collect();
        let last = one(last);
        let mut all = Vec::new();
        for other in others {
            match other.join() {
                Ok(done) => all.push(done),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all.push(last);
        all
    })
}

/// The same by one plain search a stop: slow, and beyond doubt.
pub fn plainly(network: &Network, from: &[Snap], to: &[Snap]) -> Costs {
    let mut search = Plain::new(network);
    Costs { width: to.len(), all: from.iter().flat_map(|s| search.row(network, s, to)).collect() }
}
