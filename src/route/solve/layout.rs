//! Places laid out so that those near each other are near in memory: most of what a search reads is about neighbours.

use crate::route::matrix::{pairs, reckoned};
use crate::route::problem::Problem;

use super::ground::small;

/// The places in use, numbered anew, and the drives between them.
pub(super) struct Layout {
    /// number of places in use
    pub(super) places: usize,
    /// row by row: seconds to the other place, and back from it where that may differ. In one table, since most of a large
    /// search waits for these numbers: half as many are half the wait.
    legs: Vec<u16>,
    /// log2 of the numbers for each pair: 0 or 1
    wide: u32,
    /// new number of each place of the problem
    new: Vec<u32>,
}

impl Layout {
    pub(super) fn new(problem: &Problem) -> Self {
        let (all, drive) = (problem.drive().places(), problem.drive().cells());
        let order = order(&used(problem, all), drive, all);
        let mut new = vec![0; all];
        for (n, &old) in order.iter().enumerate() {
            new[old] = small(n);
        }
        let symmetric = problem.drive().is_symmetric();
        let legs = if symmetric { there(&order, drive, all, |s| s) } else { there_and_back(&order, drive, all).into_flattened() };
        Self { places: order.len(), legs, wide: u32::from(!symmetric), new }
    }

    /// New number of a place of the problem.
    pub(super) fn place(&self, old: usize) -> u32 {
        self.new[old]
    }

    /// Seconds from one place to another.
    #[inline]
    pub(super) fn leg(&self, from: u32, to: u32) -> i32 {
        reckoned(self.legs[(from as usize * self.places + to as usize) << self.wide])
    }

    /// Seconds from a place to every other, and back.
    #[inline]
    pub(super) fn row(&self, place: u32) -> Row<'_> {
        let legs = &self.legs[(place as usize * self.places) << self.wide..][..self.places << self.wide];
        Row { legs, wide: self.wide }
    }
}

/// Seconds from one place to every other, and back.
#[derive(Clone, Copy)]
pub(super) struct Row<'a> {
    legs: &'a [u16],
    wide: u32,
}

impl Row<'_> {
    #[inline]
    pub(super) fn to(self, place: u32) -> i32 {
        reckoned(self.legs[(place as usize) << self.wide])
    }

    #[inline]
    pub(super) fn from(self, place: u32) -> i32 {
        reckoned(self.legs[((place as usize) << self.wide) + self.wide as usize])
    }
}

/// Places of depots, then of visits, each once.
fn used(problem: &Problem, all: usize) -> Vec<usize> {
    let mut seen = vec![false; all];
    let places = problem.shifts().iter().map(|s| s.depot).chain(problem.visits().iter().map(|v| v.place));
    places.filter(|&p| !std::mem::replace(&mut seen[p], true)).collect()
}

/// Groups round every so-manieth place, each group next to a near one, and in a group from its middle outwards.
fn order(places: &[usize], drive: &[u16], all: usize) -> Vec<usize> {
    let middles = walk(places.iter().copied().step_by(places.len().isqrt().max(1)).collect(), drive, all);
    let from_middle = |g: usize, place: usize| drive[middles[g] * all + place];
    let grouped = |&place: &usize| {
        let group = (0..middles.len()).min_by_key(|&g| from_middle(g, place))?;
        Some((group, from_middle(group, place), place))
    };
    let mut order: Vec<_> = places.iter().filter_map(grouped).collect();
    order.sort_unstable();
    order.into_iter().map(|(.., place)| place).collect()
}

/// From each place to the nearest of those left.
fn walk(mut places: Vec<usize>, drive: &[u16], all: usize) -> Vec<usize> {
    for next in 1..places.len() {
        let row = &drive[places[next - 1] * all..][..all];
        if let Some(nearest) = (next..places.len()).min_by_key(|&x| row[places[x]]) {
            places.swap(next, nearest);
        }
    }
    places
}

/// Every pair, row by row; of each pair what `cell` makes of it.
fn there<T>(order: &[usize], drive: &[u16], all: usize, cell: impl Fn(u16) -> T) -> Vec<T> {
    let mut legs = Vec::with_capacity(order.len() * order.len());
    for &from in order {
        let row = &drive[from * all..][..all];
        legs.extend(order.iter().map(|&to| cell(row[to])));
    }
    legs
}

/// Both directions of every pair: first the way there, row by row, then the way back.
fn there_and_back(order: &[usize], drive: &[u16], all: usize) -> Vec<[u16; 2]> {
    let n = order.len();
    let mut legs = there(order, drive, all, |s| [s, 0]);
    pairs(n).for_each(|(from, to)| {
        let (there, back) = (from * n + to, to * n + from);
        (legs[there][1], legs[back][1]) = (legs[back][0], legs[there][0]);
    });
    legs
}
