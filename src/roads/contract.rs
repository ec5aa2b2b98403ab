//! A contraction hierarchy: junctions taken out one by one, the least important first, with shortcuts that keep every quickest way.
//!
//! Source: Geisberger, Sanders, Schultes and Delling, "Contraction Hierarchies", WEA 2008. Ours adds a stop: when even the cheapest junction left
//! would need many shortcuts (a big street grid without main roads), the rest stays whole, as a core that is searched plainly.

use super::{
    cost::Cost,
    graph::{Arcs, NO, Network},
    plain::Heap,
    point::index,
};
use std::{cmp::Reverse, collections::BinaryHeap};

/// Contraction ends when the cheapest junction left would need more shortcuts than this.
const STOP: usize = 24;
/// Junctions settled by a search for another way, when priorities are first worked out and when a junction is taken out. Fewer only cost needless shortcuts.
const FIRST_LOOK: usize = 40;
const LAST_LOOK: usize = 100;

/// To a junction, or from it, at a cost.
#[derive(Clone, Copy, Debug)]
struct Link {
    to: u32,
    cost: Cost,
    /// the junction that was taken out for it; `NO` when it is a piece of road
    via: u32,
}

/// Links by junction.
#[derive(Clone, Debug)]
pub(super) struct Links {
    first: Vec<u32>,
    heads: Vec<u32>,
    costs: Vec<Cost>,
    vias: Vec<u32>,
}

impl Links {
    /// Places of a junction's links.
    pub(super) fn range(&self, v: u32) -> std::ops::Range<u32> {
        self.first[v as usize]..self.first[v as usize + 1]
    }

    pub(super) fn at(&self, link: u32) -> (u32, Cost) {
        (self.heads[link as usize], self.costs[link as usize])
    }

    pub(super) fn via(&self, link: u32) -> u32 {
        self.vias[link as usize]
    }

    /// A junction's link with that other end.
    pub(super) fn find(&self, v: u32, other: u32) -> Option<u32> {
        self.range(v).find(|l| self.heads[*l as usize] == other)
    }

    #[inline]
    pub(super) fn of(&self, v: u32) -> impl Iterator<Item = (u32, Cost)> {
        let range = self.first[v as usize] as usize..self.first[v as usize + 1] as usize;
        self.heads[range.clone()].iter().copied().zip(self.costs[range].iter().copied())
    }

    /// Lists of junctions by number, renumbered by `place`, in the new order.
    fn renumbered(lists: &[Vec<Link>], place: &[u32]) -> Self {
        let mut order = vec![0_usize; lists.len()];
        for (old, new) in place.iter().enumerate() {
            order[*new as usize] = old;
        }
        let mut links = Self { first: vec![0], heads: Vec::new(), costs: Vec::new(), vias: Vec::new() };
        for old in order {
            for link in &lists[old] {
                links.heads.push(place[link.to as usize]);
                links.costs.push(link.cost);
                links.vias.push(if link.via == NO { NO } else { place[link.via as usize] });
            }
            links.first.push(index(links.heads.len()));
        }
        links
    }

    fn bytes(&self) -> usize {
        size_of_val(&self.first[..]) + size_of_val(&self.heads[..]) + size_of_val(&self.costs[..]) + size_of_val(&self.vias[..])
    }
}

/// The hierarchy. Junctions have other numbers in it, the most important the lowest, so that what every search meets lies together.
#[derive(Clone, Debug)]
pub struct Hierarchy {
    /// new number of each junction
    place: Vec<u32>,
    /// junction of each new number
    junction: Vec<u32>,
    /// to more important junctions; within the core, to all
    pub(super) up: Links,
    /// from more important junctions; none within the core
    pub(super) down: Links,
    core: usize,
    shortcuts: usize,
}

impl Hierarchy {
    /// Prepares a network: a fraction of a second for a hundred thousand junctions.
    pub fn new(network: &Network) -> Self {
        Self::with_stop(network, STOP)
    }

    /// As [`Hierarchy::new`], with another limit of shortcuts at which the rest stays a core. With 0 almost all of it does.
    pub fn with_stop(network: &Network, stop: usize) -> Self {
        let mut builder = Builder::new(network.arcs());
        builder.contract(stop);
        builder.finish()
    }

    pub(super) fn place(&self, junction: u32) -> u32 {
        self.place[junction as usize]
    }

    pub(super) fn junction(&self, place: u32) -> u32 {
        self.junction[place as usize]
    }

    pub(super) fn junctions(&self) -> usize {
        self.place.len()
    }

    /// Junctions that stayed whole.
    pub fn core(&self) -> usize {
        self.core
    }

    pub fn shortcuts(&self) -> usize {
        self.shortcuts
    }

    pub fn bytes(&self) -> usize {
        size_of_val(&self.place[..]) + size_of_val(&self.junction[..]) + self.up.bytes() + self.down.bytes()
    }
}

/// A small search for another way that would make a shortcut needless.
struct Witness {
    best: Vec<Cost>,
    touched: Vec<u32>,
    heap: Heap,
}

impl Witness {
    fn run(&mut self, out: &[Vec<Link>], from: u32, without: u32, limit: Cost, most: usize) {
        for v in self.touched.drain(..) {
            self.best[v as usize] = Cost::NEVER;
        }
        self.heap.clear();
        self.best[from as usize] = Cost::ZERO;
        self.touched.push(from);
        self.heap.push(0, from);
        let mut settled = 0;
        while let Some((ms, v)) = self.heap.pop() {
            let cost = self.best[v as usize];
            if ms != cost.ms() {
                continue;
            }
            settled += 1;
            if cost > limit || settled > most {
                return;
            }
            for link in &out[v as usize] {
                let reached = cost.plus(link.cost);
                let known = self.best[link.to as usize];
                if link.to == without || reached >= known {
                    continue;
                }
                if known == Cost::NEVER {
                    self.touched.push(link.to);
                }
                self.best[link.to as usize] = reached;
                self.heap.push(reached.ms(), link.to);
            }
        }
    }
}

struct Builder {
    /// among junctions that are still there
    out: Vec<Vec<Link>>,
    into: Vec<Vec<Link>>,
    /// how many layers were taken out below a junction
    depth: Vec<u32>,
    rank: Vec<u32>,
    up: Vec<Vec<Link>>,
    down: Vec<Vec<Link>>,
    witness: Witness,
    /// shortcuts of the junction that was looked at last
    needed: Vec<(u32, Link)>,
    shortcuts: usize,
}

/// Keeps the cheaper of two links between the same junctions; true when it is a new one.
fn put(list: &mut Vec<Link>, link: Link) -> bool {
    if let Some(known) = list.iter_mut().find(|l| l.to == link.to) {
        if link.cost < known.cost {
            *known = link;
        }
        return false;
    }
    list.push(link);
    true
}

impl Builder {
    fn new(arcs: &Arcs) -> Self {
        let n = arcs.len();
        let lists = || vec![Vec::new(); n];
        let (mut out, mut into): (Vec<Vec<Link>>, Vec<Vec<Link>>) = (lists(), lists());
        for v in 0..index(n) {
            for arc in arcs.out(v).iter().filter(|a| a.head != v) {
                put(&mut out[v as usize], Link { to: arc.head, cost: arc.cost, via: NO });
                put(&mut into[arc.head as usize], Link { to: v, cost: arc.cost, via: NO });
            }
        }
        let witness = Witness { best: vec![Cost::NEVER; n], touched: Vec::new(), heap: Heap::default() };
        Self { out, into, depth: vec![0; n], rank: vec![NO; n], up: lists(), down: lists(), witness, needed: Vec::new(), shortcuts: 0 }
    }

    /// Works out the shortcuts that taking `v` out would need.
    fn look(&mut self, v: u32, most: usize) {
        self.needed.clear();
        for a in &self.into[v as usize] {
            let others = || self.out[v as usize].iter().filter(|b| b.to != a.to);
            let Some(farthest) = others().map(|b| b.cost).max() else { continue };
            self.witness.run(&self.out, a.to, v, a.cost.plus(farthest), most);
            for b in others() {
                let through = a.cost.plus(b.cost);
                if self.witness.best[b.to as usize] > through {
                    self.needed.push((a.to, Link { to: b.to, cost: through, via: v }));
                }
            }
        }
    }

    /// What is cheap to take out goes first, evenly over the network.
    fn priority(&self, v: u32) -> i64 {
        let links = index(self.out[v as usize].len() + self.into[v as usize].len());
        4 * i64::from(index(self.needed.len())) - 2 * i64::from(links) + 2 * i64::from(self.depth[v as usize])
    }

    fn contract(&mut self, stop: usize) {
        let n = index(self.rank.len());
        let mut queue = BinaryHeap::with_capacity(self.rank.len());
        for v in 0..n {
            self.look(v, FIRST_LOOK);
            queue.push(Reverse((self.priority(v), v)));
        }
        let mut rank = 0;
        while let Some(Reverse((_, v))) = queue.pop() {
            self.look(v, LAST_LOOK);
            let now = self.priority(v);
            if queue.peek().is_some_and(|Reverse((next, _))| now > *next) {
                queue.push(Reverse((now, v)));
                continue;
            }
            if self.needed.len() > stop {
                return;
            }
            self.rank[v as usize] = rank;
            rank += 1;
            self.take_out(v);
        }
    }

    fn take_out(&mut self, v: u32) {
        let (out, into) = (std::mem::take(&mut self.out[v as usize]), std::mem::take(&mut self.into[v as usize]));
        let below = self.depth[v as usize] + 1;
        for link in &out {
            self.into[link.to as usize].retain(|l| l.to != v);
            self.depth[link.to as usize] = self.depth[link.to as usize].max(below);
        }
        for link in &into {
            self.out[link.to as usize].retain(|l| l.to != v);
            self.depth[link.to as usize] = self.depth[link.to as usize].max(below);
        }
        for &(from, link) in &self.needed {
            self.shortcuts += usize::from(put(&mut self.out[from as usize], link));
            put(&mut self.into[link.to as usize], Link { to: from, ..link });
        }
        self.up[v as usize] = out;
        self.down[v as usize] = into;
    }

    /// The most important get the lowest numbers; the core's come first of all.
    fn finish(mut self) -> Hierarchy {
        let n = index(self.rank.len());
        let mut next = 0;
        let mut place = vec![0; self.rank.len()];
        for v in 0..n {
            if self.rank[v as usize] == NO {
                place[v as usize] = next;
                next += 1;
                self.up[v as usize] = std::mem::take(&mut self.out[v as usize]);
            } else {
                place[v as usize] = n - 1 - self.rank[v as usize];
            }
        }
        let mut junction = vec![0; place.len()];
        for (old, new) in (0..).zip(&place) {
            junction[*new as usize] = old;
        }
        Hierarchy {
            junction,
            up: Links::renumbered(&self.up, &place),
            down: Links::renumbered(&self.down, &place),
            place,
            core: next as usize,
            shortcuts: self.shortcuts,
        }
    }
}
