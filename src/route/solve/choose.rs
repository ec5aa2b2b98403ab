//! One way for each shift so that no visit stands twice, at the least cost: depth first, within bounds.
//!
//! The ways are bits in a row, those of a shift in words of their own, the cheapest first. Each knows which others it rules out, so
//! that a try takes a few instructions a word.

/// Ways tried before the best so far has to do.
const MOST_TRIES: usize = 5000;
/// Costs are whole numbers: what is better is better by nearly one.
pub(super) const BETTER: f64 = 0.999;
const WORD: usize = u64::BITS as usize;

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
    /// the first word of each shift, and of what would come after the last
    first: Vec<usize>,
    /// by way, shift after shift: the bits of those that it rules out
    rules_out: Vec<u64>,
    /// the number of the first way of each shift among all
    number: Vec<usize>,
    /// for each shift that was given a way: the bits of those that were left before, and of those left now
    left: Vec<u64>,
    goal: f64,
    found: Option<Vec<usize>>,
    picked: Vec<usize>,
    /// shifts that have no way yet
    open: Vec<usize>,
    tries: usize,
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
        let (mut first, mut number) = (vec![0], vec![0]);
        for ways in shifts {
            first.push(first[first.len() - 1] + ways.len().div_ceil(WORD));
            number.push(number[number.len() - 1] + ways.len());
        }
        let words = first[shifts.len()];
        let rules_out = rules_out(shifts, &first, visits);
        let mut left = vec![0; words * (shifts.len() + 1)];
        for (k, ways) in shifts.iter().enumerate() {
            (0..ways.len()).for_each(|x| set(&mut left, first[k] * WORD + x));
        }
        let (picked, open) = (vec![0; shifts.len()], (0..shifts.len()).collect());
        Self { shifts, first, rules_out, number, left, goal, found: None, picked, open, tries: 0 }
    }

    fn words(&self) -> usize {
        self.first[self.shifts.len()]
    }

    /// Where in `left` those begin that are left now.
    fn now(&self) -> usize {
        (self.shifts.len() - self.open.len()) * self.words()
    }

    /// The ways of shift `k` that are left, by their numbers in its list.
    fn ways_left(&self, k: usize) -> impl Iterator<Item = usize> {
        let (now, first) = (self.now(), self.first[k]);
        (first..self.first[k + 1]).flat_map(move |word| ones(self.left[now + word]).map(move |bit| (word - first) * WORD + bit))
    }

    /// Nothing when a shift has no way left.
    fn outlook(&self, rest: f64) -> Option<Outlook> {
        let (mut outlook, mut dearest) = (Outlook { bound: rest, next: 0, least: 0.0 }, f64::MIN);
        for (x, &k) in self.open.iter().enumerate() {
            let mut left = self.ways_left(k).map(|way| self.shifts[k][way].rest);
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
        let (now, k) = (self.now(), self.open[outlook.next]);
        let ways: &[Way<'_>] = self.shifts[k];
        self.open.swap_remove(outlook.next);
        for word in self.first[k]..self.first[k + 1] {
            for bit in ones(self.left[now + word]) {
                let x = (word - self.first[k]) * WORD + bit;
                if self.tries == MOST_TRIES || others + ways[x].rest > self.goal {
                    break;
                }
                self.tries += 1;
                self.pick(k, x, now);
                self.go_on(rest + ways[x].rest, cost + ways[x].cost);
            }
        }
        // back to where it was
        self.open.push(k);
        let last = self.open.len() - 1;
        self.open.swap(outlook.next, last);
    }

    /// Gives shift `k` its `x`-th way; what is left then follows from what was left, which begins at `before`.
    fn pick(&mut self, k: usize, x: usize, before: usize) {
        self.picked[k] = x;
        let words = self.words();
        let (was, is) = self.left[before..before + 2 * words].split_at_mut(words);
        let row = (self.number[k] + x) * words;
        for ((is, was), gone) in is.iter_mut().zip(was).zip(&self.rules_out[row..row + words]) {
            *is = *was & !gone;
        }
    }
}

/// For each way the bits of those that share a visit with it.
fn rules_out(shifts: &[&[Way<'_>]], first: &[usize], visits: usize) -> Vec<u64> {
    let words = first[shifts.len()];
    let mut at = vec![usize::MAX; visits];
    let mut holding: Vec<u64> = Vec::new();
    for (k, ways) in shifts.iter().enumerate() {
        for (x, way) in ways.iter().enumerate() {
            for &j in way.stops {
                let row = &mut at[j as usize];
                if *row == usize::MAX {
                    *row = holding.len();
                    holding.resize(holding.len() + words, 0);
                }
                set(&mut holding[*row..], first[k] * WORD + x);
            }
        }
    }
    let mut all = Vec::with_capacity(shifts.iter().map(|ways| ways.len() * words).sum());
    for way in shifts.iter().copied().flatten() {
        let row = all.len();
        all.resize(row + words, 0);
        for &j in way.stops {
            let holders = &holding[at[j as usize]..][..words];
            all[row..].iter_mut().zip(holders).for_each(|(bits, more)| *bits |= more);
        }
    }
    all
}

fn set(bits: &mut [u64], bit: usize) {
    bits[bit / WORD] |= 1 << (bit % WORD);
}

/// The places of the bits that are set.
fn ones(mut word: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let bit = word.trailing_zeros() as usize;
        (word != 0).then(|| {
            word &= word - 1;
            bit
        })
    })
}
