//! One way for each shift so that no visit stands twice, at the least cost: depth first, within bounds.
//!
//! The ways are bits in a row, those of a shift in words of their own, the cheapest first. Each knows which others it rules out, so
//! that a try takes a few instructions a word.

use super::sets::{Sets, WORD, numbers_in};

/// Ways tried before the best so far has to do.
const MOST_TRIES: usize = 5000;
/// Costs are whole numbers: what is better is better by nearly one.
pub(super) const BETTER: f64 = 0.999;

/// A route that a shift could have.
#[derive(Clone, Copy)]
pub(super) struct Way<'a> {
    pub(super) cost: i64,
    pub(super) stops: &'a [u32],
    /// the cost once its stops are paid for
    pub(super) rest: f64,
}

impl<'a> Way<'a> {
    /// With nothing paid for its stops yet.
    pub(super) fn of((cost, stops): (i64, &'a [u32])) -> Self {
        Self { cost, stops, rest: 0.0 }
    }

    /// What it costs when its stops are paid for at these prices.
    #[expect(clippy::cast_precision_loss, reason = "costs are far below 2^53")]
    pub(super) fn paid(&self, prices: &[f64]) -> f64 {
        self.cost as f64 + self.stops.iter().map(|&j| prices[j as usize]).sum::<f64>()
    }
}

/// For each shift the number of a way in its list, together the cheapest at a cost of at most `goal`, if any are found. The ways of
/// a shift come with the least `rest` first, of which all add up to a cost from `base` on; visits are numbered below `visits`.
pub(super) fn cheapest(shifts: &[&[Way<'_>]], visits: usize, base: f64, goal: f64) -> Option<Vec<usize>> {
    let mut search = Search::new(shifts, visits, goal);
    search.go_on(base, 0);
    search.found
}

struct Search<'a> {
    shifts: &'a [&'a [Way<'a>]],
    numbers: Numbers,
    /// for each way those that it rules out
    rules_out: Sets,
    /// the ways that are left: at first, and after each shift that was given one
    left: Sets,
    goal: f64,
    found: Option<Vec<usize>>,
    picked: Vec<usize>,
    /// shifts that have no way yet
    open: Vec<usize>,
    tries: usize,
}

/// How ways are numbered as members of a set.
struct Numbers {
    /// the first word of each shift, and of what would come after the last
    first: Vec<usize>,
}

impl Numbers {
    fn new(shifts: &[&[Way<'_>]]) -> Self {
        let mut first = vec![0];
        for ways in shifts {
            first.push(first[first.len() - 1] + ways.len().div_ceil(WORD));
        }
        Self { first }
    }

    /// No way has this number or one above it.
    fn end(&self) -> usize {
        self.first[self.first.len() - 1] * WORD
    }

    /// The number of the `x`-th way of shift `k`.
    fn of(&self, k: usize, x: usize) -> usize {
        self.first[k] * WORD + x
    }

    /// The words of a set that hold the ways of shift `k`.
    fn words(&self, k: usize) -> std::ops::Range<usize> {
        self.first[k]..self.first[k + 1]
    }
}

/// What can be said of the shifts that have no way yet.
struct Outlook {
    /// what all cost at least
    bound: f64,
    /// which of them it is dearest not to give its cheapest way, and what that costs
    next: usize,
    least: f64,
}

impl<'a> Search<'a> {
    fn new(shifts: &'a [&'a [Way<'a>]], visits: usize, goal: f64) -> Self {
        let numbers = Numbers::new(shifts);
        let mut left = Sets::new(shifts.len() + 1, numbers.end());
        for (k, ways) in shifts.iter().enumerate() {
            (0..ways.len()).for_each(|x| left.put(0, numbers.of(k, x), true));
        }
        let rules_out = rules_out(shifts, &numbers, visits);
        let (picked, open) = (vec![0; shifts.len()], (0..shifts.len()).collect());
        Self { shifts, numbers, rules_out, left, goal, found: None, picked, open, tries: 0 }
    }

    /// How many shifts were given a way, which is also the number of the set of those left.
    fn depth(&self) -> usize {
        self.shifts.len() - self.open.len()
    }

    /// The ways of shift `k` that are left, the cheapest first.
    fn ways_left(&self, k: usize) -> impl Iterator<Item = &'a Way<'a>> {
        let (left, ways) = (self.left.words(self.depth()), self.shifts[k]);
        self.numbers.words(k).enumerate().flat_map(move |(x, word)| numbers_in(x, left[word])).map(|x| &ways[x])
    }

    /// Nothing when a shift has no way left.
    fn outlook(&self, rest: f64) -> Option<Outlook> {
        let (mut outlook, mut dearest) = (Outlook { bound: rest, next: 0, least: 0.0 }, f64::MIN);
        for (x, &k) in self.open.iter().enumerate() {
            let mut left = self.ways_left(k).map(|way| way.rest);
            let least = left.next()?;
            let more = left.next().map_or(f64::MAX, |second| second - least);
            outlook.bound += least;
            if more > dearest {
                dearest = more;
                (outlook.next, outlook.least) = (x, least);
            }
        }
        Some(outlook)
    }

    /// Gives the shifts that have no way yet each of those left; `rest` and `cost` are those of the ways picked.
    #[expect(clippy::cast_precision_loss, reason = "costs are far below 2^53")]
    fn go_on(&mut self, rest: f64, cost: i64) {
        if self.open.is_empty() {
            if cost as f64 <= self.goal {
                self.goal = cost as f64 - BETTER;
                self.found = Some(self.picked.clone());
            }
            return;
        }
        let Some(outlook) = self.outlook(rest).filter(|o| o.bound <= self.goal) else { return };
        let others = outlook.bound - outlook.least;
        let (depth, k) = (self.depth(), self.open.swap_remove(outlook.next));
        let ways: &[Way<'_>] = self.shifts[k];
        for (x, word) in self.numbers.words(k).enumerate() {
            for x in numbers_in(x, self.left.words(depth)[word]) {
                if self.tries == MOST_TRIES || others + ways[x].rest > self.goal {
                    break;
                }
                self.tries += 1;
                self.picked[k] = x;
                self.left.leave_out(depth, self.rules_out.words(self.numbers.of(k, x)));
                self.go_on(rest + ways[x].rest, cost + ways[x].cost);
            }
        }
        // back to where it was
        self.open.push(k);
        let last = self.open.len() - 1;
        self.open.swap(outlook.next, last);
    }
}

/// For each way those that share a visit with it, and itself.
fn rules_out(shifts: &[&[Way<'_>]], numbers: &Numbers, visits: usize) -> Sets {
    let all = || shifts.iter().enumerate().flat_map(|(k, ways)| ways.iter().enumerate().map(move |(x, way)| (numbers.of(k, x), way)));
    // only those visits that stand in a way
    let (mut row, mut rows) = (vec![usize::MAX; visits], 0);
    for &j in all().flat_map(|(_, way)| way.stops) {
        if row[j as usize] == usize::MAX {
            row[j as usize] = rows;
            rows += 1;
        }
    }
    let mut holding = Sets::new(rows, numbers.end());
    for (number, way) in all() {
        way.stops.iter().for_each(|&j| holding.put(row[j as usize], number, true));
    }
    let mut rules_out = Sets::new(numbers.end(), numbers.end());
    for (number, way) in all() {
        way.stops.iter().for_each(|&j| rules_out.join(number, holding.words(row[j as usize])));
    }
    rules_out
}
