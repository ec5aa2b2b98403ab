//! Looking back: near its end a search puts the routes it has had together anew, for a few shifts at a time.

use super::LOOK_EVERY;
use super::combine::{Puzzle, Ways};
use super::memory::Memory;
use super::state::{OUT, State};

/// The part of a search in which it looks back.
const WHEN: std::ops::Range<f64> = 0.92..0.98;
/// How many steps it counts for, as it takes about as long.
pub(super) const STEPS: u64 = 2 * LOOK_EVERY;
/// Shifts that get new routes at a time. Where fewer have one, routes are long, and hardly two fit together.
const SHIFTS: usize = 8;
/// From this many shifts on there is no time to look back.
const MANY_SHIFTS: usize = 120;
/// Steps of the prices of a few shifts' visits ...
const PRICE_STEPS: usize = 14;
/// ... and of all, before the first: more where little is kept ...
const ALL_PRICE_STEPS: std::ops::RangeInclusive<usize> = 60..=300;
/// ... so that they look at about so many stops.
const STOPS_LOOKED_AT: usize = 20_000_000;

/// What there is to look back on.
#[derive(Default)]
pub(super) struct Recall {
    memory: Memory,
    /// of visits; empty before the first look back
    prices: Vec<f64>,
    wanted: bool,
    /// it looks back at present
    now: bool,
}

impl State<'_> {
    /// From here on the search keeps its routes, if it has some, but not too many.
    pub(super) fn begin_memory(&mut self) {
        let shifts = self.routes.len();
        if self.used >= SHIFTS && shifts < MANY_SHIFTS {
            self.recall = Recall { memory: Memory::new(shifts), wanted: true, ..Recall::default() };
        }
    }

    /// Whether the next step is a look back; from the first on it goes on from the best plan.
    pub(super) fn looks_back(&mut self, share: f64) -> bool {
        let now = self.recall.wanted && WHEN.contains(&share);
        if now && !std::mem::replace(&mut self.recall.now, now) {
            self.return_to_best();
        }
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
        if self.recall.prices.is_empty() {
            self.recall.prices = self.price_all();
        }
        let picked = self.pick_shifts();
        let recall = std::mem::take(&mut self.recall);
        let mut puzzle = self.puzzle(&recall.memory, &picked, recall.prices.clone());
        if let Some(set) = puzzle.settle_prices(PRICE_STEPS).then(|| puzzle.solve()).flatten() {
            let routes: Vec<(usize, &[u32])> =
                puzzle.ways.iter().zip(set).map(|(ways, number)| (ways.shift, ways.route(number).1)).collect();
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

    /// The puzzle of these shifts: their visits and those that are out, in any of their former routes.
    fn puzzle<'a>(&self, memory: &'a Memory, shifts: &[usize], prices: Vec<f64>) -> Puzzle<'a> {
        let mut picked = vec![false; self.routes.len()];
        let mut visits = self.out.clone();
        for &k in shifts {
            picked[k] = true;
            visits.extend_from_slice(&self.routes[k].seq);
        }
        let allowed = |j: u32| self.at[j as usize] == OUT || picked[self.at[j as usize] as usize];
        let ways = shifts.iter().map(|&k| Ways::new(k, memory.shelf(k), allowed)).collect();
        Puzzle { ways, visits, prices, beat: shifts.iter().map(|&k| self.cost_of(k)).sum() }
    }

    /// Prices of all visits, settled over all that is kept.
    fn price_all(&self) -> Vec<f64> {
        let all: Vec<usize> = (0..self.routes.len()).collect();
        let memory = &self.recall.memory;
        let steps = (STOPS_LOOKED_AT / memory.stops().max(1)).clamp(*ALL_PRICE_STEPS.start(), *ALL_PRICE_STEPS.end());
        let mut puzzle = self.puzzle(memory, &all, self.first_prices());
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
        let (ground, want) = (self.ground, SHIFTS.min(self.used));
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
