//! Looking back: near its end a search puts the routes it has had together anew, for a few shifts at a time.

use std::ops::{Range, RangeInclusive};

use super::LOOK_EVERY;
use super::choose::Way;
use super::combine::{Puzzle, Ways};
use super::memory::{Memory, Shelf};
use super::state::{OUT, State};

/// The parts of a search in which it looks back.
const WHEN: [Range<f64>; 4] = [0.86..0.875, 0.90..0.915, 0.94..0.955, 0.97..0.985];
/// How many steps it counts for, as it takes about as long.
pub(super) const STEPS: u64 = 2 * LOOK_EVERY;
/// Of five shifts that have a route, so many get new ones at a time, ...
const OF_FIVE: usize = 3;
/// ... but not fewer than the first, nor more than the second. Where fewer have one, routes are long, and hardly two fit together.
const SHIFTS: RangeInclusive<usize> = 8..=16;
/// From this many shifts on there is no time to look back.
const MANY_SHIFTS: usize = 120;
/// Of the routes of a shift, so many are tried: those that cost least at the prices of all visits.
const LIKELY: usize = 150;
/// Steps of the prices of a few shifts' visits ...
const PRICE_STEPS: usize = 20;
/// ... and of all, before the first of several looks: more where little is kept ...
const ALL_PRICE_STEPS: RangeInclusive<usize> = 60..=300;
/// ... so that they look at about so many stops.
const STOPS_LOOKED_AT: usize = 20_000_000;

/// What there is to look back on.
#[derive(Default)]
pub(super) struct Recall {
    memory: Memory,
    /// of visits
    prices: Vec<f64>,
    /// by shift, the numbers of the routes that are tried
    likely: Vec<Vec<u32>>,
    wanted: bool,
    /// it looks back at present
    now: bool,
}

impl Recall {
    /// The routes of shift `k` that cost least at the prices of all visits.
    fn likely(&self, k: usize) -> Vec<u32> {
        let kept = self.memory.shelf(k);
        let rest = |number| Way::of(kept.route(number)).paid(&self.prices);
        let mut all: Vec<(f64, u32)> = (0..kept.len()).map(|number| (rest(number), number)).collect();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        all.into_iter().take(LIKELY).map(|(_, number)| number).collect()
    }
}

impl State<'_> {
    /// From here on the search keeps its routes, if it has some, but not too many.
    pub(super) fn begin_memory(&mut self) {
        let shifts = self.routes.len();
        if self.used >= *SHIFTS.start() && shifts < MANY_SHIFTS {
            self.recall = Recall { memory: Memory::new(shifts), wanted: true, ..Recall::default() };
        }
    }

    /// Whether the next step is a look back; the first of several begins at the best plan.
    pub(super) fn looks_back(&mut self, share: f64) -> bool {
        let now = self.recall.wanted && WHEN.iter().any(|part| part.contains(&share));
        if now && !self.recall.now {
            self.return_to_best();
            self.recall.prices = self.price_all();
            self.recall.likely = (0..self.routes.len()).map(|k| self.recall.likely(k)).collect();
        }
        self.recall.now = now;
        now
    }

    /// Keeps the routes made in this step that pay.
    pub(super) fn remember(&mut self) {
        if !self.recall.wanted {
            return;
        }
        for x in 0..self.touched_shifts() {
            let k = self.touched_shift(x);
            let cost = self.cost_of(k);
            if cost < 0 {
                self.recall.memory.keep(k, cost, &self.routes[k].seq);
            }
        }
    }

    /// What the route of shift `k` adds to the plan's cost, but for the price of the week's hours: less than nothing when it pays.
    fn cost_of(&self, k: usize) -> i64 {
        let (ground, route) = (self.ground, &self.routes[k]);
        let prices: i64 = route.seq.iter().map(|&j| self.worth_at(j, k)).sum();
        let rest = if ground.plain { 0 } else { ground.overtime(k, route.busy) + route.told };
        i64::from(route.drive) + rest - prices
    }

    /// One look back: some shifts get those of their former routes that are the cheapest together, if that is better.
    pub(super) fn look_back(&mut self) {
        self.begin();
        let picked = self.pick_shifts();
        let recall = std::mem::take(&mut self.recall);
        let mut puzzle = self.puzzle(&picked, recall.prices.clone(), |k| (recall.memory.shelf(k), recall.likely[k].iter().copied()));
        if let Some(routes) = puzzle.settle_prices(PRICE_STEPS).then(|| puzzle.solve()).flatten() {
            self.lay_anew(&routes);
        }
        self.recall = recall;
    }

    /// Gives these shifts these routes, if the plan gets cheaper by it.
    fn lay_anew(&mut self, routes: &[(usize, &[u32])]) {
        for &(k, _) in routes {
            self.take(k, |_| true);
        }
        for &(k, stops) in routes {
            self.lay(k, stops);
        }
        if self.rise() < 0 {
            self.note_best();
        } else {
            self.undo();
        }
    }

    /// The puzzle of these shifts: their visits and those that are out, in any of the routes of a shelf that `kept` tells.
    fn puzzle<'a, N: Iterator<Item = u32>>(
        &self,
        shifts: &[usize],
        prices: Vec<f64>,
        kept: impl Fn(usize) -> (&'a Shelf, N),
    ) -> Puzzle<'a> {
        let mut picked = vec![false; self.routes.len()];
        let mut visits = self.out.clone();
        for &k in shifts {
            picked[k] = true;
            visits.extend_from_slice(&self.routes[k].seq);
        }
        let allowed = |j: u32| self.at[j as usize] == OUT || picked[self.at[j as usize] as usize];
        let ways = |k: usize| {
            let (routes, tried) = kept(k);
            Ways::new(k, routes, tried, allowed)
        };
        Puzzle { ways: shifts.iter().map(|&k| ways(k)).collect(), visits, prices, beat: shifts.iter().map(|&k| self.cost_of(k)).sum() }
    }

    /// Prices of all visits, settled over all that is kept.
    fn price_all(&self) -> Vec<f64> {
        let all: Vec<usize> = (0..self.routes.len()).collect();
        let memory = &self.recall.memory;
        let steps = (STOPS_LOOKED_AT / memory.stops().max(1)).clamp(*ALL_PRICE_STEPS.start(), *ALL_PRICE_STEPS.end());
        let mut puzzle = self.puzzle(&all, self.first_prices(), |k| (memory.shelf(k), 0..memory.shelf(k).len()));
        puzzle.settle_prices(steps);
        puzzle.prices
    }

    /// Prices at which each shift pays for its present route what it is worth: a visit's worth less its part of the drive.
    #[expect(clippy::cast_precision_loss, reason = "costs are far below 2^53")]
    fn first_prices(&self) -> Vec<f64> {
        let mut prices = vec![0.0; self.at.len()];
        for (k, route) in self.routes.iter().enumerate() {
            let detours: Vec<f64> = (0..route.seq.len()).map(|i| f64::from(self.detour(k, i)) + 1.0).collect();
            let part = f64::from(route.drive) / detours.iter().sum::<f64>();
            for (detour, &j) in detours.iter().zip(&route.seq) {
                prices[j as usize] = (self.worth_at(j, k) as f64 - detour * part).max(0.0);
            }
        }
        prices
    }

    /// Some shifts that have a route: by turns near each other and anywhere.
    fn pick_shifts(&mut self) -> Vec<usize> {
        let ground = self.ground;
        let want = (self.used * OF_FIVE / 5).clamp(*SHIFTS.start(), *SHIFTS.end());
        let mut picked = Vec::with_capacity(want);
        if self.random.one_in(2) {
            let seed = ground.open[self.random.below(ground.open.len())];
            for &j in ground.near(seed) {
                let k = self.at[j as usize] as usize;
                if picked.len() < want && self.at[j as usize] != OUT && !picked.contains(&k) {
                    picked.push(k);
                }
            }
        }
        let mut others: Vec<usize> = (0..self.routes.len()).filter(|k| !self.routes[*k].seq.is_empty() && !picked.contains(k)).collect();
        while picked.len() < want && !others.is_empty() {
            picked.push(others.swap_remove(self.random.below(others.len())));
        }
        picked
    }
}
