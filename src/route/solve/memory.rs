//! The routes that a search has had, shift by shift.

use std::collections::HashMap;
use std::ops::Range;

use super::ground::small;
use super::random::mixed;

/// At most so many routes of a shift are kept; then the older half goes.
const MOST: usize = 1000;

/// What is kept. Of equal visits in equal shifts only the cheapest order.
#[derive(Default)]
pub(super) struct Memory {
    shelves: Vec<Shelf>,
    /// number of each route in its shelf, by its shift and visits
    seen: HashMap<u64, u32>,
}

/// The routes of one shift, one after the other.
#[derive(Default)]
pub(super) struct Shelf {
    costs: Vec<i64>,
    /// where the stops of each end
    ends: Vec<u32>,
    stops: Vec<u32>,
    keys: Vec<u64>,
}

impl Memory {
    /// Nothing yet, for so many shifts.
    pub(super) fn new(shifts: usize) -> Self {
        Self { shelves: (0..shifts).map(|_| Shelf::default()).collect(), seen: HashMap::new() }
    }

    /// The routes of shift `k`.
    pub(super) fn shelf(&self, k: usize) -> &Shelf {
        &self.shelves[k]
    }

    /// Stops in all.
    pub(super) fn stops(&self) -> usize {
        self.shelves.iter().map(|shelf| shelf.stops.len()).sum()
    }

    /// Keeps a route of shift `k` with what it costs in all.
    pub(super) fn keep(&mut self, k: usize, cost: i64, stops: &[u32]) {
        // the same for every order of the stops; that two of some thousand share one is past all chance
        let key = stops.iter().fold(mixed(!(k as u64)), |key, &j| key.wrapping_add(mixed(u64::from(j))));
        let routes = &mut self.shelves[k];
        if let Some(&number) = self.seen.get(&key) {
            routes.cheaper(number, cost, stops);
            return;
        }
        if routes.costs.len() == MOST {
            for gone in routes.forget_older_half() {
                self.seen.remove(&gone);
            }
            self.seen.extend(routes.keys.iter().enumerate().map(|(number, &key)| (key, small(number))));
        }
        self.seen.insert(key, small(routes.costs.len()));
        routes.add(key, cost, stops);
    }
}

impl Shelf {
    /// How many there are.
    pub(super) fn len(&self) -> u32 {
        small(self.costs.len())
    }

    /// Cost and stops of one.
    pub(super) fn route(&self, number: u32) -> (i64, &[u32]) {
        (self.costs[number as usize], &self.stops[self.span(number)])
    }

    fn span(&self, number: u32) -> Range<usize> {
        let begins = (number as usize).checked_sub(1).map_or(0, |before| self.ends[before]);
        begins as usize..self.ends[number as usize] as usize
    }

    fn add(&mut self, key: u64, cost: i64, stops: &[u32]) {
        self.costs.push(cost);
        self.keys.push(key);
        self.stops.extend_from_slice(stops);
        self.ends.push(small(self.stops.len()));
    }

    /// Takes over another order of the same stops if it is cheaper.
    fn cheaper(&mut self, number: u32, cost: i64, stops: &[u32]) {
        let span = self.span(number);
        if cost < self.costs[number as usize] && span.len() == stops.len() {
            self.costs[number as usize] = cost;
            self.stops[span].copy_from_slice(stops);
        }
    }

    fn forget_older_half(&mut self) -> Vec<u64> {
        let half = self.costs.len() / 2;
        let gone = self.ends[half - 1];
        self.costs.drain(..half);
        self.ends.drain(..half);
        self.stops.drain(..gone as usize);
        for end in &mut self.ends {
            *end -= gone;
        }
        self.keys.drain(..half).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cheapest_order_of_the_same_visits_is_kept_and_the_older_half_goes() {
        let mut memory = Memory::new(2);
        memory.keep(1, -5, &[1, 2]);
        memory.keep(1, -7, &[2, 1]);
        memory.keep(1, -6, &[1, 2]);
        memory.keep(0, -9, &[1, 2]);
        assert_eq!((memory.shelf(1).len(), memory.shelf(1).route(0)), (1, (-7, &[2, 1][..])));
        assert_eq!(memory.shelf(0).route(0), (-9, &[1, 2][..]));
        for j in 10..10 + small(MOST) {
            memory.keep(1, -1, &[j, j + 1, j + 2]);
        }
        let half = small(MOST / 2);
        assert_eq!(memory.shelf(1).len(), half + 1);
        assert_eq!(memory.shelf(1).route(0), (-1, &[9 + half, 10 + half, 11 + half][..]));
        memory.keep(1, -2, &[11 + half, 10 + half, 9 + half]);
        assert_eq!(memory.shelf(1).route(0).0, -2, "found under its new number");
        memory.keep(1, -8, &[1, 2]);
        assert_eq!(memory.shelf(1).len(), half + 2, "what was forgotten is new again");
    }
}
