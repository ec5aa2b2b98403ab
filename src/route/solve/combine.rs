//! The cheapest set of routes, one at most for each shift, in which no visit stands twice.
//!
//! Visits are given prices until hardly two shifts want the same (Lagrangian relaxation; subgradient steps, each leaning on the one
//! before). The prices bound what any set can cost, which leaves few routes to try. The idea of putting a plan together
//! from routes that a search has had is that of "Probabilistic Diversification and Intensification in Local Search for Vehicle
//! Routing", Journal of Heuristics 1, 1995; the steps are those of Camerini, Fratta and Maffioli, 1975 (all from memory).

use super::choose::{self, BETTER, Way};
use super::memory::Shelf;

/// How much of the step before counts in a step of the prices.
const LEAN: f64 = 0.6;
/// How often steps get shorter, and what of their length remains.
const SHORTER: usize = 7;
const REMAINS: f64 = 0.7;

/// A shift and the routes it could have, of which none is one.
pub(super) struct Ways<'a> {
    pub(super) shift: usize,
    list: Vec<Way<'a>>,
}

impl<'a> Ways<'a> {
    /// Of the routes of a shelf those that are tried and whose stops are all allowed.
    pub(super) fn new(shift: usize, routes: &'a Shelf, tried: impl Iterator<Item = u32>, allowed: impl Fn(u32) -> bool) -> Self {
        let mut list = vec![Way::of((0, &[]))];
        list.extend(tried.map(|number| Way::of(routes.route(number))).filter(|way| way.stops.iter().all(|&j| allowed(j))));
        Self { shift, list }
    }

    /// Those that cost at most so much more than the cheapest, which stands first.
    fn within(&self, more: f64) -> &[Way<'a>] {
        let least = self.list[0].rest;
        &self.list[..self.list.partition_point(|way| way.rest - least <= more)]
    }

    /// What each costs at these prices. The cheapest.
    fn pay(&mut self, prices: &[f64]) -> Option<Way<'a>> {
        for way in &mut self.list {
            way.rest = way.paid(prices);
        }
        self.list.iter().copied().min_by(|a, b| a.rest.total_cmp(&b.rest))
    }
}

/// Shifts, the visits that they share, the price of each visit, and the cost that is to be beaten.
pub(super) struct Puzzle<'a> {
    pub(super) ways: Vec<Ways<'a>>,
    pub(super) visits: Vec<u32>,
    /// by visit; at least 0
    pub(super) prices: Vec<f64>,
    pub(super) beat: i64,
}

impl<'a> Puzzle<'a> {
    #[expect(clippy::cast_precision_loss, reason = "costs are far below 2^53")]
    fn goal(&self) -> f64 {
        self.beat as f64 - BETTER
    }

    fn all_prices(&self) -> f64 {
        self.visits.iter().map(|&j| self.prices[j as usize]).sum()
    }

    /// Betters the prices in so many steps. False when they show that nothing is cheaper.
    pub(super) fn settle_prices(&mut self, steps: usize) -> bool {
        let goal = self.goal();
        let (mut bound, mut kept) = (f64::MIN, self.prices.clone());
        let (mut wanted, mut way) = (vec![0.0; self.prices.len()], vec![0.0; self.prices.len()]);
        let mut length = 1.0;
        for step in 0..steps {
            let now = self.want(&mut wanted);
            if now > bound {
                bound = now;
                kept.clone_from(&self.prices);
            }
            if bound > goal {
                return false;
            }
            let squares = self.lean(&wanted, &mut way);
            if squares <= 0.0 {
                break;
            }
            if (step + 1) % (steps / SHORTER).max(1) == 0 {
                length *= REMAINS;
            }
            let stride = length * (goal - now) / squares;
            for &j in &self.visits {
                let price = &mut self.prices[j as usize];
                *price = (*price + stride * way[j as usize]).max(0.0);
            }
        }
        self.prices = kept;
        true
    }

    /// How often each visit is wanted beyond once, when every shift takes its cheapest route. What these cost in all is the least
    /// that any set can cost.
    fn want(&mut self, wanted: &mut [f64]) -> f64 {
        for &j in &self.visits {
            wanted[j as usize] = -1.0;
        }
        let mut least = -self.all_prices();
        for ways in &mut self.ways {
            let Some(way) = ways.pay(&self.prices) else { continue };
            least += way.rest;
            for &j in way.stops {
                wanted[j as usize] += 1.0;
            }
        }
        least
    }

    /// The way the prices go next, in `way`, and the sum of its squares. No price goes below 0.
    fn lean(&self, wanted: &[f64], way: &mut [f64]) -> f64 {
        let mut squares = 0.0;
        for &j in &self.visits {
            let j = j as usize;
            let stands = self.prices[j] <= 0.0;
            let held = |x: f64| if stands { x.max(0.0) } else { x };
            way[j] = held(held(wanted[j]) + LEAN * way[j]);
            squares += way[j] * way[j];
        }
        squares
    }

    /// The cheapest set at a cost below that to be beaten, if one is found: shifts with the stops that each gets.
    pub(super) fn solve(mut self) -> Option<Vec<(usize, &'a [u32])>> {
        let (goal, base) = (self.goal(), -self.all_prices());
        for ways in &mut self.ways {
            ways.pay(&self.prices);
            ways.list.sort_by(|a, b| a.rest.total_cmp(&b.rest));
        }
        let bound = base + self.ways.iter().map(|w| w.list[0].rest).sum::<f64>();
        let few: Vec<&[Way<'_>]> = self.ways.iter().map(|w| w.within(goal - bound)).collect();
        let picked = choose::cheapest(&few, self.prices.len(), base, goal)?;
        Some(self.ways.iter().zip(picked).map(|(ways, x)| (ways.shift, ways.list[x].stops)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::super::memory::Memory;
    use super::super::random::Random;
    use super::*;

    const VISITS: u32 = 9;
    const SHIFTS: usize = 4;

    fn kept(random: &mut Random) -> Memory {
        let mut memory = Memory::new(SHIFTS);
        for k in 0..SHIFTS {
            for _ in 0..8 {
                let mut stops: Vec<u32> = (0..VISITS).filter(|_| random.one_in(3)).collect();
                stops.truncate(4);
                let cost = 40 - i64::try_from(random.below(60) * (stops.len() + 1)).unwrap();
                memory.keep(k, cost, &stops);
            }
        }
        memory
    }

    /// Every set that there is.
    fn cheapest(memory: &Memory, k: usize, taken: u32) -> i64 {
        if k == SHIFTS {
            return 0;
        }
        let mask = |stops: &[u32]| stops.iter().fold(0, |mask, j| mask | 1 << j);
        let routes = (0..memory.shelf(k).len()).map(|number| memory.shelf(k).route(number));
        let free = routes.filter(|(_, stops)| mask(stops) & taken == 0);
        let costs = free.map(|(cost, stops)| cost + cheapest(memory, k + 1, taken | mask(stops)));
        costs.chain([cheapest(memory, k + 1, taken)]).min().unwrap()
    }

    fn cost_of(memory: &Memory, k: usize, stops: &[u32]) -> i64 {
        let routes = (0..memory.shelf(k).len()).map(|number| memory.shelf(k).route(number));
        let none = stops.is_empty().then_some(0);
        routes.filter(|r| r.1 == stops).map(|r| r.0).chain(none).min().unwrap()
    }

    #[test]
    fn the_cheapest_set_is_that_of_trying_them_all() {
        let mut random = Random::new(5);
        for _ in 0..500 {
            let memory = kept(&mut random);
            let least = cheapest(&memory, 0, 0);
            let puzzle = |beat| Puzzle {
                ways: (0..SHIFTS).map(|k| Ways::new(k, memory.shelf(k), 0..memory.shelf(k).len(), |_| true)).collect(),
                visits: (0..VISITS).collect(),
                prices: vec![0.0; VISITS as usize],
                beat,
            };
            let mut open = puzzle(least + 1);
            assert!(open.settle_prices(50), "prices never rule out what there is");
            let set = open.solve().unwrap();
            let mut stops: Vec<u32> = set.iter().flat_map(|r| r.1).copied().collect();
            stops.sort_unstable();
            assert!(stops.windows(2).all(|pair| pair[0] < pair[1]), "{stops:?}: none twice");
            assert_eq!(set.iter().map(|&(k, stops)| cost_of(&memory, k, stops)).sum::<i64>(), least);
            let mut shut = puzzle(least);
            assert!(!shut.settle_prices(50) || shut.solve().is_none(), "nothing is cheaper than the cheapest");
        }
    }
}
